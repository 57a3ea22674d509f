using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core;

/// <summary>What following a site a little further made of it.</summary>
/// <param name="Changes">The water findings from the point reached back to.</param>
/// <param name="RewoundTo">Null when everything was newer; else what was known from here on is replaced.</param>
/// <param name="Runs">Ended since that point, in order. After a rewind they replace all stored runs that stopped after it.</param>
/// <param name="Days">Figures of local days that changed; each replaces the stored one of its date.</param>
public sealed record Followed(
    FindingChanges Changes, DateTimeOffset? RewoundTo, ImmutableArray<PumpRun> Runs, ImmutableArray<SiteDay> Days);

/// <summary>
/// Follows one site through observations that come in any order. Newer ones move the state on; an older one goes back to a
/// snapshot before it and walks the durable record again. What results depends on the set of observations, not on their arrival.
/// </summary>
/// <remarks>One owner at a time. States are immutable, so a snapshot is a reference.</remarks>
public sealed class SiteFollower
{
    // Kept snapshots thin out with age: each lies at least a quarter of its age away from the next newer one.
    private const double Thinning = 0.25;
    private static readonly TimeSpan Finest = TimeSpan.FromMinutes(1);

    private readonly List<SiteState> snapshots = [];

    public SiteFollower(SitePlan plan)
    {
        Plan = plan;
        State = SiteState.Start(plan);
    }

    public SitePlan Plan { get; }

    /// <summary>The state as it is now; safe to hand to readers.</summary>
    public SiteState State { get; private set; }

    /// <param name="fresh">Durable already, each seen for the first time, in any order.</param>
    /// <param name="readFrom">All durable observations of the site at or after a time, the fresh ones included.</param>
    /// <param name="tickTo">
    /// How far time is known to have passed besides; null for no farther than the observations. A site built anew has to come as far as
    /// what was told of it, or a finding of the silence since the last word would seem never to have been.
    /// </param>
    public Followed Take(
        IEnumerable<Observation> fresh, Func<DateTimeOffset, IEnumerable<Observation>> readFrom, DateTimeOffset? tickTo = null)
    {
        var ordered = fresh.Order(Observation.Order).ToList();
        if (ordered.Count == 0 || State.IsNewer(ordered[0]))
        {
            return Walk(ordered, tickTo, rewoundTo: null);
        }

        var reached = tickTo > State.TickedTo ? tickTo.Value : State.TickedTo;
        GoBackBefore(ordered[0]);
        var back = State.At;
        var later = readFrom(back).Where(State.IsNewer).Order(Observation.Order).ToList();
        return Walk(later, reached, back);
    }

    /// <summary>Nothing before this time is expected any more; silence of the water is noticed.</summary>
    public Followed Tick(DateTimeOffset to) => Walk([], to, rewoundTo: null);

    private Followed Walk(List<Observation> ordered, DateTimeOffset? tickTo, DateTimeOffset? rewoundTo)
    {
        var from = State.At;
        var findings = State.OpenFindings.ToDictionary(Key);
        var (runs, days) = (ImmutableArray.CreateBuilder<PumpRun>(), new SortedDictionary<DateOnly, SiteDay>());
        foreach (var observation in ordered)
        {
            Step(new Observed(observation));
        }

        if (tickTo is { } to)
        {
            Step(new Ticked(to));
        }

        return new(
            new(FindingScope.Water, from, [.. findings.Values.OrderBy(f => f, Comparer<Finding>.Create(Finding.Compare))]),
            rewoundTo, runs.ToImmutable(), [.. days.Values]);

        void Step(SiteInput input)
        {
            var judged = SiteStep.Judge(State, input, Plan);
            State = judged.Next;
            foreach (var finding in judged.Findings)
            {
                findings[Key(finding)] = finding;
            }

            runs.AddRange(judged.Runs);
            foreach (var day in judged.Days)
            {
                days[day.Date] = day;
            }

            Keep();
        }
    }

    private static (FindingKind, DeviceId, DateTimeOffset) Key(Finding finding) => (finding.Kind, finding.Device, finding.RaisedAt);

    private void Keep()
    {
        if (snapshots.Count > 0 && State.At - snapshots[^1].At < Finest)
        {
            return;
        }

        snapshots.Add(State);
        for (var i = snapshots.Count - 2; i > 0; i--)
        {
            if (snapshots[i + 1].At - snapshots[i - 1].At < Thinning * (State.At - snapshots[i].At))
            {
                snapshots.RemoveAt(i);
            }
        }
    }

    private void GoBackBefore(Observation observation)
    {
        while (snapshots.Count > 0 && !snapshots[^1].IsNewer(observation))
        {
            snapshots.RemoveAt(snapshots.Count - 1);
        }

        State = snapshots.Count > 0 ? snapshots[^1] : SiteState.Start(Plan);
    }
}
