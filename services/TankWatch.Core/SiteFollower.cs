using System.Collections.Immutable;
using System.Diagnostics.CodeAnalysis;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Timelines;

namespace TankWatch.Core;

/// <summary>What following a site a little further made of it.</summary>
/// <param name="Changes">The water findings from the point reached back to.</param>
/// <param name="RewoundTo">
/// Null when everything was newer; else what was known from here on is replaced. Stored snapshots of this moment or later are void: of
/// two of one moment, one may have seen what the other has not.
/// </param>
/// <param name="Runs">Ended since that point, in order. After a rewind they replace all stored runs that stopped after it.</param>
/// <param name="Days">Figures of local days that changed; each replaces the stored one of its date.</param>
/// <param name="Kept">States on a long way worth storing, as <see cref="SnapshotSpacing"/> has it, in order; after a rewind its start too.</param>
public sealed record Followed(
    FindingChanges Changes, DateTimeOffset? RewoundTo, ImmutableArray<PumpRun> Runs, ImmutableArray<SiteDay> Days,
    ImmutableArray<SiteState> Kept);

/// <summary>
/// Follows one site through observations that come in any order. Newer ones move the state on; an older one goes back to a state before
/// it and walks the durable record again. What results depends on the set of observations, not on their arrival.
/// </summary>
/// <remarks>
/// One owner at a time. A long way back is walked in slices (<see cref="Rework"/>), so that a backlog of one site does not hold up the
/// others; meanwhile <see cref="State"/> goes on with what is new, as if nothing were late, and is put right at the end.
/// </remarks>
public sealed class SiteFollower
{
    /// <summary>As many observations are judged again at once; for more the owner is asked for its time.</summary>
    public const int ShortWay = 200;

    private readonly StateTrail trail = new();
    private Observation? newest;
    private Observation? late;
    private SiteWalk? rework;

    /// <param name="plan">What is installed.</param>
    /// <param name="from">Where to go on from: a durable state that has seen all the record holds up to it. Null: from the beginning.</param>
    public SiteFollower(SitePlan plan, SiteState? from = null)
    {
        Plan = plan;
        State = from ?? SiteState.Start(plan);
        newest = State.Last;
        trail.Add(State);
    }

    public SitePlan Plan { get; }

    /// <summary>The state as it is now; safe to hand to readers.</summary>
    public SiteState State { get; private set; }

    /// <summary>Late observations wait for <see cref="Rework"/>.</summary>
    public bool NeedsRework => late is not null;

    /// <summary>
    /// Time of the earliest late observation that waits; null when none does. While it waits no state is to be stored, and stored ones of
    /// its moment or later are void: a restart has to go on from one before it.
    /// </summary>
    public DateTimeOffset? LateFrom => late?.Stamp.At;

    /// <param name="fresh">Durable already, each seen for the first time, in any order.</param>
    /// <param name="record">Of the site, the fresh ones included.</param>
    /// <param name="tickTo">
    /// How far time is known to have passed besides; null for no farther than the observations. A site built anew has to come as far as
    /// what was told of it, or a finding of the silence since the last word would seem never to have been.
    /// </param>
    public Followed Take(IReadOnlyList<Observation> fresh, ISiteRecord record, DateTimeOffset? tickTo = null)
    {
        var ordered = fresh.Count == 1 ? [fresh[0]] : fresh.Order(Observation.Order).ToList();
        if (ordered.Count == 0 || State.IsNewer(ordered[0]))
        {
            return WalkOn(ordered, tickTo);
        }

        newest = Later(newest, ordered[^1]);
        if (late is null && trail.GoBackBefore(ordered[0]) is var near && WayFrom(near ?? Stored(record, ordered[0]), record) is { } way)
        {
            var reached = tickTo > State.TickedTo ? tickTo : State.TickedTo;
            return Walk(new(Plan, way.From, trail), way.Again, reached, isRewound: true);
        }

        Note(ordered[0]);
        return WalkOn(ordered.FindAll(State.IsNewer), tickTo);
    }

    /// <summary>Nothing before this time is expected any more; silence of the water is noticed.</summary>
    public Followed Tick(DateTimeOffset to) => WalkOn([], to);

    /// <summary>Walks the record again from before the earliest late observation, a slice at a call.</summary>
    /// <param name="record">Of the site.</param>
    /// <param name="steps">At most so many observations in this call, at least 1.</param>
    /// <param name="followed">When the walk has come to its end: all that changed since where it began. It takes in what <see cref="Take"/> told meanwhile.</param>
    /// <returns>Whether the walk has come to its end, and <see cref="State"/> is what the record says.</returns>
    public bool Rework(ISiteRecord record, int steps, [NotNullWhen(true)] out Followed? followed)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(steps, 1);
        followed = null;
        if (late is null)
        {
            return false;
        }

        rework ??= new(Plan, trail.GoBackBefore(late) ?? Stored(record, late), trail);
        var page = Read(record, rework.Position, steps);
        var taken = page.TakeWhile(WasTaken).Count();
        foreach (var observation in page.Take(taken))
        {
            rework.Take(observation);
        }

        if (taken == steps)
        {
            return false;
        }

        rework.PassTo(State.TickedTo);
        followed = rework.Done(isRewound: true);
        (State, rework, late) = (rework.State, null, null);
        return true;
    }

    private Followed WalkOn(List<Observation> ordered, DateTimeOffset? tickTo)
    {
        newest = ordered.Count > 0 ? Later(newest, ordered[^1]) : newest;

        // While late ones wait, the trail belongs to them: a state that has not seen them is none to go back to.
        return Walk(new(Plan, State, late is null ? trail : new()), ordered, tickTo, isRewound: false);
    }

    private Followed Walk(SiteWalk walk, List<Observation> ordered, DateTimeOffset? tickTo, bool isRewound)
    {
        foreach (var observation in ordered)
        {
            walk.Take(observation);
        }

        if (tickTo is { } to)
        {
            walk.PassTo(to);
        }

        State = walk.State;
        return walk.Done(isRewound);
    }

    /// <returns>What is to be judged again; null when it is too much to be done at once.</returns>
    private (SiteState From, List<Observation> Again)? WayFrom(SiteState from, ISiteRecord record)
    {
        var again = Read(record, from.Last, ShortWay + 1);
        return again.Count > ShortWay ? null : (from, again.TakeWhile(WasTaken).ToList());
    }

    private SiteState Stored(ISiteRecord record, Observation first) => record.StateBefore(first) ?? SiteState.Start(Plan);

    private static IReadOnlyList<Observation> Read(ISiteRecord record, Observation? after, int limit) =>
        record.Read(after, after?.Stamp.At ?? DateTimeOffset.MinValue, limit);

    private void Note(Observation observation)
    {
        late = late is null || Observation.Order.Compare(observation, late) < 0 ? observation : late;
        if (rework?.HasPassed(observation) == true)
        {
            rework = null;
        }
    }

    /// <summary>The record may hold what has not been given to <see cref="Take"/> yet; its turn is then.</summary>
    private bool WasTaken(Observation observation) => Observation.Order.Compare(observation, newest) <= 0;

    private static Observation Later(Observation? a, Observation b) => a is null || Observation.Order.Compare(b, a) > 0 ? b : a;
}
