using System.Collections.Immutable;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Findings;

/// <summary>Stored names (see <see cref="FindingNames"/>) are a format: add, never rename.</summary>
public enum FindingKind
{
    ShortCycling, SlowFill, WeakPump, Leak, HeavyUse, RepeatedDryTrips, RunTooLong, OverflowRisk, RunningOut, LowSupply,
    BackDrain, ProbeFault, VoltageTrips, OverloadTrips, NoStart, ControlFault, LeftInManual, UnitSilent, PowerFailure, AreaOutage, ServiceFault,
}

public enum Priority { Low, Medium, High, Critical }

/// <summary>A measured size of what was found, with its unit.</summary>
public sealed record Quantity(string Name, Estimate Size, string Unit);

/// <param name="Name">A trade term such as <c>chattering-probe</c>, or <c>undetermined</c>.</param>
/// <param name="Probability">0 to 1; the causes of one finding sum to at most 1.</param>
public sealed record WeighedCause(string Name, double Probability);

/// <summary>What a finding says to a person, in plain words of no language yet.</summary>
/// <param name="Summary">One sentence for a caretaker.</param>
/// <param name="Evidence">What was seen, with times and figures.</param>
/// <param name="Advice">What to check first.</param>
/// <param name="Cautions">What can hurt someone while checking.</param>
public sealed record FindingText(
    Phrase Summary, ImmutableArray<Phrase> Evidence, ImmutableArray<Phrase> Advice, ImmutableArray<Phrase> Cautions)
{
    /// <summary>The same in the words of a language.</summary>
    public SpokenText In(Language language) => new(
        language.Say(Summary), [.. Evidence.Select(language.Say)], [.. Advice.Select(language.Say)], [.. Cautions.Select(language.Say)]);

    public bool SaysTheSame(FindingText other) => ReferenceEquals(this, other)
        || (Summary == other.Summary && Evidence.SequenceEqual(other.Evidence) && Advice.SequenceEqual(other.Advice) && Cautions.SequenceEqual(other.Cautions));
}

/// <summary>A <see cref="FindingText"/> in the words of one language.</summary>
/// <param name="Summary">One sentence for a caretaker.</param>
/// <param name="Evidence">What was seen.</param>
/// <param name="Advice">What to check first.</param>
/// <param name="Cautions">What can hurt someone while checking.</param>
public sealed record SpokenText(
    string Summary, ImmutableArray<string> Evidence, ImmutableArray<string> Advice, ImmutableArray<string> Cautions);

/// <summary>
/// A condition that a rule holds to be so from <see cref="Since"/> until <see cref="ClearedAt"/>. One site, device and kind has at
/// most one open finding. The same site, device and kind over an overlapping interval is the same finding.
/// </summary>
/// <param name="Kind">What is wrong.</param>
/// <param name="Device">The tank, pump or unit.</param>
/// <param name="Priority">How soon a hand is needed.</param>
/// <param name="Since">Estimated onset, UTC.</param>
/// <param name="RaisedAt">When the rule decided, in the time of the ordered messages (link findings: in time of receipt), UTC.</param>
/// <param name="ClearedAt">When it ceased to hold; null while it holds.</param>
/// <param name="Estimate">Its size, where it has one.</param>
/// <param name="Causes">Weighed causes; empty where the kind has none.</param>
/// <param name="Text">Plain words.</param>
public sealed record Finding(
    FindingKind Kind,
    DeviceId Device,
    Priority Priority,
    DateTimeOffset Since,
    DateTimeOffset RaisedAt,
    DateTimeOffset? ClearedAt,
    Quantity? Estimate,
    ImmutableArray<WeighedCause> Causes,
    FindingText Text)
{
    public bool IsOpen => ClearedAt is null;

    /// <summary>Whose judgement it is.</summary>
    public FindingScope Scope => Kind is FindingKind.UnitSilent or FindingKind.AreaOutage or FindingKind.ServiceFault ? FindingScope.Link : FindingScope.Water;

    /// <summary>Whether two findings are one: same kind and device, decided at the same moment or over overlapping intervals.</summary>
    public bool IsSameAs(Finding other) =>
        Kind == other.Kind && Device == other.Device
        && (RaisedAt == other.RaisedAt
            || (Since < (other.ClearedAt ?? DateTimeOffset.MaxValue) && other.Since < (ClearedAt ?? DateTimeOffset.MaxValue)));

    /// <summary>Whether two findings weigh the same causes, have the same size and say the same, whatever their times.</summary>
    public bool SaysTheSame(Finding other) => Priority == other.Priority && Estimate == other.Estimate
        && (Causes == other.Causes || Causes.SequenceEqual(other.Causes)) && Text.SaysTheSame(other.Text);

    /// <summary>Order of lists: by time, then device, then kind.</summary>
    public static int Compare(Finding a, Finding b)
    {
        var byTime = a.RaisedAt.CompareTo(b.RaisedAt);
        var byDevice = byTime != 0 ? byTime : string.CompareOrdinal(a.Device.Value, b.Device.Value);
        return byDevice != 0 ? byDevice : string.CompareOrdinal(FindingNames.Of(a.Kind), FindingNames.Of(b.Kind));
    }
}
