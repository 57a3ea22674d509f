using System.Text;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Simulator;

namespace TankWatch.Core.Tests.Simulator;

/// <summary>A finding of the demonstration, told from its start; negative is before it.</summary>
/// <param name="Site">The building.</param>
/// <param name="Kind">What.</param>
/// <param name="Device">Where in it.</param>
/// <param name="RaisedAt">In event time.</param>
/// <param name="ClearedAt">In event time; null while it holds.</param>
/// <param name="SeenAt">When the service knew of it; what the history raised, at 0.</param>
/// <param name="SeenOverAt">When the service knew that it had cleared.</param>
/// <param name="Text">As raised.</param>
internal sealed record LivedFinding(
    string Site, FindingKind Kind, string Device, TimeSpan RaisedAt, TimeSpan? ClearedAt, TimeSpan SeenAt, TimeSpan? SeenOverAt, FindingText Text)
{
    public override string ToString() =>
        $"{Site} {Kind} {Device}: {Clock(RaisedAt)} to {(ClearedAt is { } end ? Clock(end) : "now")}, seen {Clock(SeenAt)} to {(SeenOverAt is { } over ? Clock(over) : "now")}";

    private static string Clock(TimeSpan at) => $"{(at < TimeSpan.Zero ? "-" : "+")}{at:d\\.hh\\:mm\\:ss}";
}

/// <summary>
/// A building of the estate behind the judgement as the service runs it: the history as a backlog, then second by second, with time
/// passing once a minute and five seconds late.
/// </summary>
internal sealed class LivedEstate
{
    private static readonly TimeSpan Allowance = TimeSpan.FromSeconds(5);

    private readonly SimulatedSite site;
    private readonly SitePlan plan;
    private readonly SiteFollower follower;
    private readonly DateTimeOffset start;
    private readonly MemoryRecord durable;
    private readonly Dictionary<(FindingKind, DeviceId, DateTimeOffset), LivedFinding> findings = [];
    private LinkState link;
    private DateTimeOffset now;

    private LivedEstate(EstateBuilding building, ulong seed, DateTimeOffset start, TimeSpan history)
    {
        plan = TestSites.PlanOf(building);
        (this.start, now) = (start, start);
        site = building.Begin(plan, seed, start, history);
        (follower, durable) = (new(plan), new(plan));
        link = LinkState.Start(plan, start);
    }

    /// <param name="building">Its id.</param>
    /// <param name="seed">Of the estate.</param>
    /// <param name="start">When the demonstration begins.</param>
    /// <param name="history">Before it.</param>
    /// <param name="watched">After it.</param>
    /// <returns>In order of being raised.</returns>
    public static IReadOnlyList<LivedFinding> Live(string building, ulong seed, DateTimeOffset start, TimeSpan history, TimeSpan watched)
    {
        var lived = new LivedEstate(Estate.Buildings.Single(b => b.Id == building), seed, start, history);
        lived.Take();
        lived.Keep(FindingScope.Link, lived.link.At, LinkFindings(lived.link));
        for (lived.now = start; lived.now < start + watched;)
        {
            lived.now = lived.now.AddSeconds(1);
            lived.Take();
            lived.PassMinute();
        }

        return [.. lived.findings.Values.OrderBy(f => f.RaisedAt)];
    }

    private void Take()
    {
        var fresh = new List<Observation>();
        foreach (var message in site.Advance(now))
        {
            var unit = plan.FindUnit(message.Unit)!;
            var receivedAt = now == start ? message.ArrivesAt : now;
            foreach (var accepted in FieldMessageDecoder
                .Decode(plan, unit, KindOf(message), Encoding.UTF8.GetBytes(message.PayloadJson), receivedAt).Cast<Decoded.Accepted>())
            {
                fresh.Add(accepted.Seen);
                (link, var changes) = LinkStep.Heard(link, unit.Index, accepted.Seen, retained: false, plan);
                Keep(changes.Scope, changes.From, changes.Findings);
            }
        }

        if (fresh.Count > 0)
        {
            durable.Add(fresh);
            var followed = follower.Take(fresh, durable);
            var changes = (follower.Rework(durable, int.MaxValue, out var again) ? again : followed).Changes;
            Keep(changes.Scope, changes.From, changes.Findings);
        }
    }

    private void PassMinute()
    {
        var settled = now - Allowance;
        if (settled.Ticks % TimeSpan.TicksPerMinute >= TimeSpan.TicksPerSecond)
        {
            return;
        }

        (link, var heard) = LinkStep.Tick(link, now, plan);
        Keep(heard.Scope, heard.From, heard.Findings);
        var changes = follower.Tick(settled).Changes;
        Keep(changes.Scope, changes.From, changes.Findings);
    }

    private static MessageKind KindOf(SimulatedMessage message) =>
        FieldMessageDecoder.TryReadTopic(message.Topic, out _, out var kind, out _) ? kind : throw new InvalidOperationException(message.Topic);

    private static IEnumerable<Finding> LinkFindings(LinkState link) => link.Units.Where(u => u.Open is not null).Select(u => u.Open!);

    private void Keep(FindingScope scope, DateTimeOffset from, IEnumerable<Finding> changed)
    {
        var told = changed.ToDictionary(f => (f.Kind, f.Device, f.RaisedAt));
        foreach (var stale in findings.Where(f => (f.Key.Item1 == FindingKind.UnitSilent) == (scope == FindingScope.Link) && !told.ContainsKey(f.Key)
            && !(start + f.Value.ClearedAt <= from)).ToList())
        {
            findings.Remove(stale.Key);
        }

        foreach (var (key, finding) in told)
        {
            var known = findings.GetValueOrDefault(key);
            var seen = now - start;
            findings[key] = new(
                plan.Id.Value, finding.Kind, finding.Device.Value, finding.RaisedAt - start, finding.ClearedAt - start,
                known?.SeenAt ?? seen, finding.ClearedAt is null ? null : known?.SeenOverAt ?? seen, finding.Text);
        }
    }
}
