using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Timelines;

namespace TankWatch.Core;

/// <summary>A stretch of judging, and what it made.</summary>
/// <param name="plan">What is installed.</param>
/// <param name="from">Where it begins.</param>
/// <param name="trail">Leads up to <paramref name="from"/>, and is led on.</param>
internal sealed class SiteWalk(SitePlan plan, SiteState from, StateTrail trail)
{
    private readonly SiteState from = from;
    private readonly List<SiteState> kept = [];

    // Made when there is something: most steps make nothing.
    private List<Finding>? changed;
    private List<PumpRun>? runs;
    private List<SiteDay>? days;

    public SiteState State { get; private set; } = from;

    /// <summary>The last observation that was looked at; null before the first.</summary>
    public Observation? Position { get; private set; } = from.Last;

    /// <summary>Whether an observation would have had its turn already.</summary>
    public bool HasPassed(Observation observation) =>
        !State.IsNewer(observation) || (Position is not null && Observation.Order.Compare(observation, Position) <= 0);

    /// <param name="observation">The next one. One that time has passed already is not for this walk: it will be told of as late.</param>
    public void Take(Observation observation)
    {
        Position = observation;
        if (!State.IsNewer(observation))
        {
            return;
        }

        Step(new Observed(observation));
        trail.Add(State);
        if (State.At - (kept.Count > 0 ? kept[^1] : from).At >= SnapshotSpacing.Closest)
        {
            kept.Add(State);
            SnapshotSpacing.Thin(kept, static state => state.At, State.At, SnapshotSpacing.Closest);
        }
    }

    public void PassTo(DateTimeOffset to)
    {
        Step(new Ticked(to));
        trail.Trim(State.At);
    }

    /// <param name="isRewound">What was known from the beginning of this walk on is replaced.</param>
    public Followed Done(bool isRewound)
    {
        return new(new(FindingScope.Water, from.At, Findings()), isRewound ? from.At : null, runs is null ? [] : [.. runs], Days(), Kept(isRewound));
    }

    private ImmutableArray<Finding> Findings()
    {
        if (changed is null && !from.HasOpenFindings)
        {
            return []; // Nearly every step of a site.
        }

        var findings = new Dictionary<(FindingKind, DeviceId, DateTimeOffset), Finding>();
        foreach (var finding in from.OpenFindings.Concat(changed ?? []))
        {
            findings[(finding.Kind, finding.Device, finding.RaisedAt)] = finding;
        }

        return [.. findings.Values.Order(Comparer<Finding>.Create(Finding.Compare))];
    }

    private ImmutableArray<SiteDay> Days() => days is null ? [] :
        [.. days.GroupBy(day => day.Date).Select(sameDate => sameDate.Last()).OrderBy(day => day.Date)];

    private ImmutableArray<SiteState> Kept(bool isRewound)
    {
        if (kept.Count == 0)
        {
            return [];
        }

        var worth = kept.FindAll(state => State.At - state.At >= SnapshotSpacing.Closest);
        return isRewound && worth.Count > 0 && from.Last is not null ? [.. worth.Prepend(from)] : [.. worth];
    }

    private void Step(SiteInput input)
    {
        var judged = SiteStep.Judge(State, input, plan);
        State = judged.Next;
        Add(ref changed, judged.Findings);
        Add(ref runs, judged.Runs);
        Add(ref days, judged.Days);
    }

    private static void Add<T>(ref List<T>? list, ImmutableArray<T> made)
    {
        if (!made.IsEmpty)
        {
            (list ??= []).AddRange(made);
        }
    }
}
