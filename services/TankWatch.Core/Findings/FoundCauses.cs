using System.Collections.Frozen;

namespace TankWatch.Core.Findings;

/// <summary>What a cause found on site says of the finding.</summary>
public enum FindingOutcome
{
    /// <summary>It was so.</summary>
    Right,

    /// <summary>It was not so.</summary>
    Wrong,

    /// <summary>It was told in words that no program can weigh.</summary>
    Unsaid,
}

/// <summary>
/// The names by which a cause found on site counts in the record of how often each kind was right: the kinds of finding, the causes
/// that rules weigh, and <see cref="NothingWrong"/>. Stored with closed alerts: add, never rename.
/// </summary>
public static class FoundCauses
{
    /// <summary>Everything was as it should be.</summary>
    public const string NothingWrong = "nothing-wrong";

    private static readonly string[] Losses = ["leak", "growing-leak"], Uses = ["heavy-use", "new-habit"];

    private static readonly FrozenDictionary<FindingKind, string[]> Explanations =
        Enum.GetValues<FindingKind>().ToFrozenDictionary(kind => kind, ExplanationsOf);

    /// <summary>All names that count, those of kinds first.</summary>
    public static IReadOnlyList<string> All { get; } =
        [.. FindingNames.AllKinds.Concat(Explanations.OrderBy(pair => pair.Key).SelectMany(pair => pair.Value)).Append(NothingWrong).Distinct()];

    /// <summary>Causes of which one found on site means that the finding was right, besides the kind's own name.</summary>
    public static IReadOnlyList<string> Explaining(FindingKind kind) => Explanations[kind];

    /// <param name="kind">What was said.</param>
    /// <param name="causeFound">One of <see cref="All"/>, or free text.</param>
    public static FindingOutcome Judge(FindingKind kind, string causeFound) =>
        causeFound == FindingNames.Of(kind) || Explanations[kind].Contains(causeFound) ? FindingOutcome.Right
        : All.Contains(causeFound) ? FindingOutcome.Wrong
        : FindingOutcome.Unsaid;

    /// <remarks>
    /// A kind that tells what can be seen (a slow fill, an empty tank) is right with whatever brought it about. One that names the
    /// cause itself (a leak, a weak pump) is right with that alone: heavy use taken for a leak was wrong, though it was weighed.
    /// </remarks>
    private static string[] ExplanationsOf(FindingKind kind) => kind switch
    {
        FindingKind.ShortCycling => ["probes-too-close", "chattering-probe", "back-drain", "supply", "low-voltage"],
        FindingKind.SlowFill => ["weak-pump", .. Losses, "back-drain", .. Uses, "low-voltage"],
        FindingKind.RunTooLong => ["weak-pump", .. Losses, "back-drain", .. Uses, "low-voltage", "control-fault", "left-in-manual"],
        FindingKind.Leak => ["growing-leak"],
        FindingKind.HeavyUse => ["new-habit"],
        FindingKind.ProbeFault => ["lost-common", "stuck-probe", "chattering-probe", "impossible-order"],
        FindingKind.RepeatedDryTrips => ["low-supply"],
        FindingKind.OverflowRisk => ["control-fault", "left-in-manual"],
        FindingKind.RunningOut =>
        [
            "no-start", "power-failure", "voltage-trips", "overload-trips", "repeated-dry-trips", "low-supply", "weak-pump", .. Losses, .. Uses,
            "control-fault", "left-in-manual",
        ],
        FindingKind.VoltageTrips => ["low-voltage", "supply"],
        FindingKind.OverloadTrips => ["low-voltage"],
        FindingKind.NoStart => ["power-failure", "voltage-trips", "overload-trips", "control-fault", "left-in-manual"],
        FindingKind.ControlFault => ["left-in-manual"],
        FindingKind.UnitSilent => ["power-failure", "area-outage"],
        FindingKind.PowerFailure => ["area-outage"],
        FindingKind.AreaOutage => ["power-failure"],
        _ => [],
    };
}
