using System.Collections.Concurrent;
using System.Collections.Immutable;
using System.Globalization;
using System.Text.Json;
using TankWatch.Core.Replaying;
using TankWatch.Core.Tests.Replaying;
using TankWatch.Core.Tests.Trials;
using TankWatch.Simulator.Trials;

namespace TankWatch.Core.Tests.Balance;

/// <summary>What the judgement made of the recorded systems, by the rules with which trials are scored.</summary>
internal static class RecordedScores
{
    private static readonly ConcurrentDictionary<string, TrialScore> Scores = new();

    /// <summary>Those whose truth has figures of days, and with them everything a score asks for.</summary>
    public static readonly string[] Names = [.. Recorded.Names.Where(name => name[0] == 'o')];

    public static IEnumerable<TrialScore> All => Names.Select(Of);

    public static TrialScore Of(string name) => Scores.GetOrAdd(name, n => Of(Recorded.Of(n), Recorded.Of(n).Result));

    /// <summary>The same system, from what was left of its recording.</summary>
    public static TrialScore Of(Recorded recorded, ReplayResult result)
    {
        var truth = recorded.Truth;
        var days = truth.GetProperty("daily").EnumerateArray().Select(DayOf).ToImmutableArray();
        var trial = new Trial(
            0, TrialSort.Healthy, recorded.SiteJson, result.Plan, new() { Seed = 0, Start = Recorded.Time(truth.GetProperty("start_utc")) },
            [.. truth.GetProperty("faults").EnumerateArray().Select(EventOf)], days.Length, days.Average(d => d.Demand));
        return TrialScore.Of(trial, new([], days), result);
    }

    private static TrialDay DayOf(JsonElement day) => new(
        DateOnly.ParseExact(day.GetProperty("date_local").GetString()!, "yyyy-MM-dd", CultureInfo.InvariantCulture), Number(day, "demand_l"), Number(day, "leak_l"),
        Number(day, "back_drain_l"), Number(day, "pumped_l"), (int)Number(day, "pump_runs"), Number(day, "pump_minutes"),
        day.GetProperty("mean_delivery_lpm") is { ValueKind: JsonValueKind.Number } mean ? mean.GetDouble() : null, (int)Number(day, "dry_cutouts"));

    private static TrialEvent EventOf(JsonElement fault) => new(
        fault.GetProperty("label").GetString()!, fault.GetProperty("kind").GetString() is "benign", Recorded.Time(fault.GetProperty("onset_utc")),
        fault.GetProperty("end_utc") is { ValueKind: JsonValueKind.String } end ? Recorded.Time(end) : null,
        fault.GetProperty("size") is { ValueKind: JsonValueKind.Number } size ? size.GetDouble() : null, fault.GetProperty("unit").GetString()!,
        fault.TryGetProperty("device", out var device) ? device.GetString() : null, []);

    private static double Number(JsonElement of, string member) => of.GetProperty(member).GetDouble();
}
