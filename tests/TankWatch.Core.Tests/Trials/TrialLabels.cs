using System.Collections.Frozen;
using TankWatch.Core.Findings;

namespace TankWatch.Core.Tests.Trials;

/// <summary>Which findings and causes are right for what was done, by the label it has in a trial's truth.</summary>
internal static class TrialLabels
{
    private static readonly FindingKind[] WantOfWater = [FindingKind.LowSupply, FindingKind.RunningOut, FindingKind.RepeatedDryTrips];
    private static readonly FindingKind[] MoreUse = [FindingKind.HeavyUse, FindingKind.SlowFill];

    private static readonly FrozenDictionary<string, Row> Rows = new Dictionary<string, Row>(StringComparer.Ordinal)
    {
        ["leak"] = new([FindingKind.Leak], [], "leak", "growing-leak"),
        ["weak_pump"] = new([FindingKind.WeakPump], [], "weak-pump"),
        ["pump_decline"] = new([FindingKind.WeakPump], [], "weak-pump", "pump-decline", "slow-decline"),
        ["riser_valve"] = new([FindingKind.WeakPump], [], "weak-pump"),
        ["riser_restriction"] = new([FindingKind.WeakPump], [], "weak-pump"),
        ["backdrain"] = new([FindingKind.BackDrain], [], "back-drain"),
        ["short_cycling"] = new([FindingKind.ShortCycling], [FindingKind.ProbeFault], "probes-too-close"),
        ["supply_failure"] = new(WantOfWater, [FindingKind.RunTooLong], "supply", "supply-missed", "low-supply"),
        ["heavy_use"] = new([], MoreUse, "heavy-use"),
        ["hot_days"] = new([], MoreUse, "heavy-use"),
        ["garden_watering"] = new([], MoreUse, "heavy-use", "habit", "new-habit"),
        ["low_voltage"] = new([], [FindingKind.SlowFill, FindingKind.WeakPump], "low-voltage"),
        ["probe_off"] = new([], []),
    }.ToFrozenDictionary(StringComparer.Ordinal);

    /// <summary>Kinds that find it; none where nothing is wrong with the building.</summary>
    public static IReadOnlyCollection<FindingKind> Accepted(string label) => Rows[label].Accepted;

    /// <summary>Kinds that are neither right nor wrong while it lasts.</summary>
    public static bool IsTolerated(string label, FindingKind kind) => kind is FindingKind.SlowFill || Rows[label].Tolerated.Contains(kind);

    /// <summary>A leak empties the sump, where it did.</summary>
    public static bool IsWantOfWater(FindingKind kind) => WantOfWater.Contains(kind);

    public static bool Causes(string label, string cause) => Rows[label].Causes.Contains(cause);

    private sealed record Row(FindingKind[] Accepted, FindingKind[] Tolerated, params string[] Causes);
}
