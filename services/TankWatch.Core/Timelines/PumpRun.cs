using TankWatch.Core.Observations;

namespace TankWatch.Core.Timelines;

/// <summary>One run of a pump, from start to stop.</summary>
/// <param name="Pump">The pump.</param>
/// <param name="StartedAt">UTC.</param>
/// <param name="StoppedAt">UTC; null while it runs.</param>
/// <param name="StartCause">In the unit's words.</param>
/// <param name="StopCause">In the unit's words; null while it runs.</param>
/// <param name="Manual">Started in manual mode or by hand: never an automatic cycle.</param>
/// <param name="ReachedTop">Every tank served had its top probe wet at the stop.</param>
/// <param name="Delivered">Litres; null when no crossing tells.</param>
/// <param name="Delivery">Litres per minute; null when no crossing tells.</param>
public sealed record PumpRun(
    DeviceId Pump, DateTimeOffset StartedAt, DateTimeOffset? StoppedAt, PumpCause StartCause, PumpCause? StopCause,
    bool Manual, bool ReachedTop, Estimate? Delivered, Estimate? Delivery)
{
    /// <summary>What the delivery rests on; null when no crossing tells.</summary>
    internal RunFlow? Flow { get; init; }

    public TimeSpan? Duration => StoppedAt - StartedAt;
}

/// <summary>The figures of one pump over one local day.</summary>
/// <param name="Pump">The pump.</param>
/// <param name="Starts">That happened in the day.</param>
/// <param name="RunSeconds">Within the day.</param>
/// <param name="LongestRunSeconds">Of one run, within the day.</param>
/// <param name="DryTrips">Stops for want of water.</param>
/// <param name="DeliveredLitres">Null when no crossing tells.</param>
/// <param name="LitresPerMinute">Null when no crossing tells.</param>
/// <param name="EnergyKwh">Null without measured or rated power.</param>
/// <param name="OwnVariance">Of the litres delivered, the part that no other day shares, litres squared.</param>
public sealed record PumpDay(
    DeviceId Pump, int Starts, double RunSeconds, double LongestRunSeconds, int DryTrips,
    Estimate? DeliveredLitres, Estimate? LitresPerMinute, Estimate? EnergyKwh, double OwnVariance = 0);

/// <summary>The figures of one overhead tank over one local day.</summary>
/// <param name="Tank">The tank.</param>
/// <param name="UsedLitres">All that left it.</param>
/// <param name="LeakLitresPerHour">What leaves at all hours; none found: 0, and the bound below which a leak could hide.</param>
/// <param name="SecondsBelowLowest">Null when its probes were not heard of.</param>
/// <param name="Known">Share of the day for which crossings account, 0 to 1.</param>
/// <param name="OwnVariance">Of the litres used, the part that no other day shares, litres squared.</param>
/// <param name="HeardSeconds">Of the day so far, in which a reading of its probes held; null in days stored before this was counted.</param>
/// <param name="UnheardSeconds">The rest of the day so far; null likewise.</param>
public sealed record TankDay(
    DeviceId Tank, Estimate? UsedLitres, Estimate? LeakLitresPerHour, double? SecondsBelowLowest, double Known = 0,
    double OwnVariance = 0, double? HeardSeconds = null, double? UnheardSeconds = null);

/// <summary>The figures of one local calendar day.</summary>
/// <param name="Date">In the site's time zone.</param>
/// <param name="Complete">The record spans the whole day.</param>
/// <param name="Pumps">In the order of the plan.</param>
/// <param name="Tanks">Overhead tanks, in the order of the plan.</param>
public sealed record SiteDay(
    DateOnly Date, bool Complete, System.Collections.Immutable.ImmutableArray<PumpDay> Pumps, System.Collections.Immutable.ImmutableArray<TankDay> Tanks);
