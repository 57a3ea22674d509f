using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Tests;

/// <summary>A site behind its follower, keeping what it publishes as a store would: changes replace, and nothing else is touched.</summary>
internal sealed class FollowedSite(SitePlan plan)
{
    private readonly MemoryRecord durable = new(plan);
    private readonly Dictionary<(FindingKind, DeviceId, DateTimeOffset), Finding> findings = [];
    private readonly Dictionary<(DeviceId, DateTimeOffset), PumpRun> runs = [];
    private readonly SortedDictionary<DateOnly, SiteDay> days = [];
    private SiteFollower follower = new(plan);
    private DateTimeOffset tickedTo;

    public int Rewinds { get; private set; }

    public int Reworks { get; private set; }

    /// <summary>Restarts that went on from a stored state.</summary>
    public int Restored { get; private set; }

    public SiteState State => follower.State;

    /// <summary>Takes observations, and at once all the time that they ask for.</summary>
    public void Take(IReadOnlyList<Observation> fresh)
    {
        Begin(fresh);
        Rework(int.MaxValue);
    }

    /// <summary>Takes observations, and leaves a long way back for later.</summary>
    public void Begin(IReadOnlyList<Observation> fresh)
    {
        durable.Add(fresh);
        Keep(follower.Take(fresh, durable));
        if (follower.LateFrom is { } late)
        {
            durable.Void(late);
        }
    }

    /// <returns>Whether more is left to do.</returns>
    public bool Rework(int steps)
    {
        if (follower.Rework(durable, steps, out var followed))
        {
            Reworks++;
            Keep(followed);
        }

        return follower.NeedsRework;
    }

    public void Tick(DateTimeOffset to)
    {
        tickedTo = to > tickedTo ? to : tickedTo;
        Keep(follower.Tick(to));
    }

    /// <summary>Stores the state, unless late data wait that it does not know of.</summary>
    public void Store()
    {
        if (!follower.NeedsRework && follower.State.Last is not null)
        {
            durable.Store(follower.State);
        }
    }

    /// <summary>Everything in memory is lost; what was published and what is durable stay.</summary>
    /// <param name="page">How many observations are read at a time.</param>
    public void Restart(int page)
    {
        follower = new(plan, durable.Newest);
        Restored += follower.State.Last is null ? 0 : 1;
        VoidRuns(follower.State.At);
        while (durable.Read(follower.State.Last, follower.State.Last?.Stamp.At ?? DateTimeOffset.MinValue, page) is { Count: > 0 } after)
        {
            Keep(follower.Take(after, durable));
        }

        Keep(follower.Tick(tickedTo));
    }

    public Outcome Outcome() => Tests.Outcome.Of(plan, findings.Values, runs.Values, days.Values, follower.State);

    private void Keep(Followed followed)
    {
        foreach (var stale in findings.Where(f => (f.Value.ClearedAt ?? DateTimeOffset.MaxValue) > followed.Changes.From).ToList())
        {
            findings.Remove(stale.Key);
        }

        foreach (var finding in followed.Changes.Findings)
        {
            findings[(finding.Kind, finding.Device, finding.RaisedAt)] = finding;
        }

        if (followed.RewoundTo is { } back)
        {
            Rewinds++;
            VoidRuns(back);
            durable.Void(back);
        }

        foreach (var run in followed.Runs)
        {
            runs[(run.Pump, run.StartedAt)] = run;
        }

        foreach (var day in followed.Days)
        {
            days[day.Date] = day;
        }

        if (!follower.NeedsRework)
        {
            foreach (var state in followed.Kept)
            {
                durable.Store(state);
            }
        }
    }

    private void VoidRuns(DateTimeOffset from)
    {
        foreach (var stale in runs.Where(r => r.Value.StoppedAt > from).ToList())
        {
            runs.Remove(stale.Key);
        }
    }
}
