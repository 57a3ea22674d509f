using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Tests;

/// <summary>A site behind its follower, keeping what it publishes as a store would: changes replace, and nothing else is touched.</summary>
internal sealed class FollowedSite(SitePlan plan)
{
    private readonly SiteFollower follower = new(plan);
    private readonly List<Observation> durable = [];
    private readonly Dictionary<(FindingKind, DeviceId, DateTimeOffset), Finding> findings = [];
    private readonly Dictionary<(DeviceId, DateTimeOffset), PumpRun> runs = [];
    private readonly SortedDictionary<DateOnly, SiteDay> days = [];

    public int Rewinds { get; private set; }

    public void Take(IReadOnlyList<Observation> fresh)
    {
        durable.AddRange(fresh);
        Keep(follower.Take(fresh, from => durable.Where(o => o.Stamp.At >= from)));
    }

    public void Tick(DateTimeOffset to) => Keep(follower.Tick(to));

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
            foreach (var stale in runs.Where(r => r.Value.StoppedAt > back).ToList())
            {
                runs.Remove(stale.Key);
            }
        }

        foreach (var run in followed.Runs)
        {
            runs[(run.Pump, run.StartedAt)] = run;
        }

        foreach (var day in followed.Days)
        {
            days[day.Date] = day;
        }
    }
}
