using System.Collections.Immutable;
using System.Text;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests;

/// <summary>What the judgement made of a scenario. Times read as in <see cref="Scenario.TimeOf"/>.</summary>
internal sealed record Outcome(
    SitePlan Plan, ImmutableArray<Finding> Findings, ImmutableArray<PumpRun> Runs, ImmutableArray<SiteDay> Days, SiteState State)
{
    /// <summary>The plain walk: every observation in order, and time passing up to the end.</summary>
    public static Outcome Of(SitePlan plan, IEnumerable<Observation> ordered, DateTimeOffset end)
    {
        var state = SiteState.Start(plan);
        var findings = new Dictionary<(FindingKind, DeviceId, DateTimeOffset), Finding>();
        var (runs, days) = (new List<PumpRun>(), new SortedDictionary<DateOnly, SiteDay>());
        foreach (var input in ordered.Select(o => (SiteInput)new Observed(o)).Append(new Ticked(end)))
        {
            var judged = SiteStep.Judge(state, input, plan);
            state = judged.Next;
            runs.AddRange(judged.Runs);
            foreach (var finding in judged.Findings)
            {
                findings[(finding.Kind, finding.Device, finding.RaisedAt)] = finding;
            }

            foreach (var day in judged.Days)
            {
                days[day.Date] = day;
            }
        }

        return Of(plan, findings.Values, runs, days.Values, state);
    }

    public static Outcome Of(
        SitePlan plan, IEnumerable<Finding> findings, IEnumerable<PumpRun> runs, IEnumerable<SiteDay> days, SiteState state) => new(
        plan, [.. findings.Order(Comparer<Finding>.Create(Finding.Compare))],
        [.. runs.OrderBy(r => r.StartedAt).ThenBy(r => r.Pump.Value, StringComparer.Ordinal)], [.. days], state);

    public IEnumerable<FindingKind> Kinds => Findings.Select(f => f.Kind).Distinct();

    public FindingKind[] OpenAt(string clock)
    {
        var at = Scenario.TimeOf(clock);
        return [.. Findings.Where(f => f.RaisedAt <= at && (f.ClearedAt is null || f.ClearedAt > at)).Select(f => f.Kind).Order()];
    }

    /// <summary>The one finding of its kind.</summary>
    public Finding Only(FindingKind kind)
    {
        var found = Findings.Where(f => f.Kind == kind).ToList();
        Assert.True(found.Count == 1, $"{found.Count} findings of {kind}; all: {string.Join(", ", Findings.Select(Told))}");
        return found[0];
    }

    public void Never(FindingKind kind) =>
        Assert.True(Findings.All(f => f.Kind != kind), $"unexpected: {string.Join(", ", Findings.Where(f => f.Kind == kind).Select(Told))}");

    public string Raised(FindingKind kind) => Scenario.Clock(Only(kind).RaisedAt);
    public string Since(FindingKind kind) => Scenario.Clock(Only(kind).Since);
    public string? Cleared(FindingKind kind) => Only(kind).ClearedAt is { } at ? Scenario.Clock(at) : null;
    public string? Cause(FindingKind kind) => Only(kind).Causes.FirstOrDefault()?.Name;

    /// <summary>The published form of findings, runs and days: equal text, equal outcome.</summary>
    public string Json()
    {
        using var stream = new MemoryStream();
        ResultJson.Write(stream, new(Plan, null, null, 0, 0, Findings, Runs, Days));
        return Encoding.UTF8.GetString(stream.ToArray());
    }

    private static string Told(Finding f) =>
        $"{f.Kind} {f.Device} {Scenario.Clock(f.RaisedAt)} to {(f.ClearedAt is { } end ? Scenario.Clock(end) : "now")}";
}
