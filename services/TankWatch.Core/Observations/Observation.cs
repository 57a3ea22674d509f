using TankWatch.Core.Time;

namespace TankWatch.Core.Observations;

/// <summary>
/// Whose word an observation is, and its times. Observations of a site are ordered by (<see cref="At"/>, unit, boot, seq).
/// </summary>
/// <param name="Unit">The field unit that sent it.</param>
/// <param name="At">When it happened, UTC: the unit's own time where that is believed, else the time of receipt.</param>
/// <param name="ReceivedAt">When it reached this service, UTC.</param>
/// <param name="ClaimedAt">The time the unit gave, believed or not; null if it gave none.</param>
/// <param name="Boot">Counts the unit's restarts, at least 0; null if it does not count.</param>
/// <param name="Seq">Counts the unit's messages since that restart, at least 0; null if it does not count.</param>
public readonly record struct Stamp(
    UnitId Unit, DateTimeOffset At, DateTimeOffset ReceivedAt, DateTimeOffset? ClaimedAt, long? Boot, long? Seq) : IComparable<Stamp>
{
    // Packed: every observation in memory has one, and so has every unit in every state.
    private readonly long at = At.UtcTicks, receivedAt = ReceivedAt.UtcTicks;
    private readonly PackedTime claimedAt = ClaimedAt;
    private readonly long bootAndOne = Boot + 1 ?? 0, seqAndOne = Seq + 1 ?? 0;

    public DateTimeOffset At { get => new(at, TimeSpan.Zero); init => at = value.UtcTicks; }

    /// <summary><see cref="At"/> in ticks, UTC.</summary>
    internal long AtTicks => at;

    public DateTimeOffset ReceivedAt { get => new(receivedAt, TimeSpan.Zero); init => receivedAt = value.UtcTicks; }
    public DateTimeOffset? ClaimedAt { get => claimedAt; init => claimedAt = value; }
    public long? Boot { get => bootAndOne == 0 ? null : bootAndOne - 1; init => bootAndOne = value + 1 ?? 0; }
    public long? Seq { get => seqAndOne == 0 ? null : seqAndOne - 1; init => seqAndOne = value + 1 ?? 0; }

    public int CompareTo(Stamp other)
    {
        var byTime = at.CompareTo(other.at);
        if (byTime != 0)
        {
            return byTime;
        }

        var byUnit = Unit.CompareTo(other.Unit);
        if (byUnit != 0)
        {
            return byUnit;
        }

        var byBoot = Nullable.Compare(Boot, other.Boot);
        return byBoot != 0 ? byBoot : Nullable.Compare(Seq, other.Seq);
    }

    public static bool operator <(Stamp left, Stamp right) => left.CompareTo(right) < 0;
    public static bool operator >(Stamp left, Stamp right) => left.CompareTo(right) > 0;
    public static bool operator <=(Stamp left, Stamp right) => left.CompareTo(right) <= 0;
    public static bool operator >=(Stamp left, Stamp right) => left.CompareTo(right) >= 0;
}

/// <summary>One thing a field unit saw, decoded and fitted to the site's plan.</summary>
public abstract record Observation(Stamp Stamp)
{
    /// <summary>
    /// The order of a site's observations: by stamp, and where units without a count say several things at one moment, by what they
    /// say. Only observations of equal content compare as equal, so the order of a set does not depend on its arrival.
    /// </summary>
    public static readonly IComparer<Observation> Order = Comparer<Observation>.Create(static (a, b) =>
    {
        var byStamp = a.Stamp.CompareTo(b.Stamp);
        var byContent = byStamp != 0 ? byStamp : a.Content.CompareTo(b.Content);
        return byContent != 0 ? byContent : Comparer<(double?, double?, double?)>.Default.Compare(a.Measured, b.Measured);
    });

    /// <summary>Kind, device and state, packed so that they compare.</summary>
    private protected abstract (int Kind, int Device, int State) Content { get; }

    /// <summary>What was measured besides.</summary>
    private protected virtual (double?, double?, double?) Measured => default;
}

/// <param name="Stamp">Whose word, and when.</param>
/// <param name="Tank">Index into <c>SitePlan.Tanks</c>.</param>
/// <param name="Wet">Bit i is set when probe i, counted from the lowest, is wet.</param>
public sealed record LevelObservation(Stamp Stamp, int Tank, int Wet) : Observation(Stamp)
{
    private protected override (int Kind, int Device, int State) Content => (1, Tank, Wet);
}

/// <summary>Why a pump started or stopped, in the unit's words.</summary>
public enum PumpCause { Unknown, Level, TopUp, Manual, SumpLow, DryRun, UnderVoltage, OverVoltage, Overload, Power }

/// <param name="Stamp">Whose word, and when.</param>
/// <param name="Pump">Index into <c>SitePlan.Pumps</c>.</param>
/// <param name="Running">True when it runs from this moment on.</param>
/// <param name="Cause">Why it started or stopped.</param>
/// <param name="Manual">True in manual mode, false in automatic; null when the unit did not say.</param>
/// <param name="Volts">At the pump, if measured.</param>
/// <param name="Amps">Of the pump, if measured.</param>
/// <param name="Watts">Input power of the pump, if measured.</param>
public sealed record PumpObservation(
    Stamp Stamp, int Pump, bool Running, PumpCause Cause, bool? Manual, double? Volts, double? Amps, double? Watts) : Observation(Stamp)
{
    private protected override (int Kind, int Device, int State) Content => (2, Pump, ((int)Cause * 8) + (Running ? 4 : 0) + (Manual switch { null => 0, false => 1, true => 2 }));
    private protected override (double?, double?, double?) Measured => (Volts, Amps, Watts);
}

/// <param name="Stamp">Whose word, and when.</param>
/// <param name="Pump">Index into <c>SitePlan.Pumps</c>.</param>
/// <param name="Flowing">The detector at the tank inlet is wet.</param>
public sealed record InletObservation(Stamp Stamp, int Pump, bool Flowing) : Observation(Stamp)
{
    private protected override (int Kind, int Device, int State) Content => (3, Pump, Flowing ? 1 : 0);
}

/// <param name="Stamp">Whose word, and when.</param>
/// <param name="Mains">The mains are on where the unit is.</param>
/// <param name="Volts">Of the supply, if measured.</param>
public sealed record SupplyObservation(Stamp Stamp, bool Mains, double? Volts) : Observation(Stamp)
{
    private protected override (int Kind, int Device, int State) Content => (0, 0, Mains ? 1 : 0);
    private protected override (double?, double?, double?) Measured => (Volts, null, null);
}

/// <param name="Stamp">Whose word, and when.</param>
/// <param name="Online">False in the unit's Will.</param>
/// <param name="Firmware">If told.</param>
/// <param name="SignalDbm">If told.</param>
/// <param name="BatteryPercent">If told, 0 to 100.</param>
public sealed record StatusObservation(
    Stamp Stamp, bool Online, string? Firmware, double? SignalDbm, double? BatteryPercent) : Observation(Stamp)
{
    private protected override (int Kind, int Device, int State) Content => (4, 0, Online ? 1 : 0);
    private protected override (double?, double?, double?) Measured => (SignalDbm, BatteryPercent, null);
}
