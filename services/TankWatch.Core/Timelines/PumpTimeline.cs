using System.Collections.Immutable;
using TankWatch.Core.Observations;
using TankWatch.Core.Time;

namespace TankWatch.Core.Timelines;

/// <summary>The first and the newest rise seen in one tank during one run.</summary>
public readonly record struct Rise(Crossing First, Crossing Newest);

/// <summary>A run that ended with every tank full, automatic from start to stop.</summary>
public readonly record struct TopRun(DateTimeOffset StartedAt, float Seconds);

/// <summary>The run in progress.</summary>
/// <param name="StartedAt">UTC.</param>
/// <param name="Cause">In the unit's words.</param>
/// <param name="Manual">By hand or in manual mode at any time of the run.</param>
/// <param name="Automatic">The control started it because a tank called.</param>
/// <param name="Watts">Measured input, if any.</param>
/// <param name="Rises">Per tank served, in the order of the plan; null where no probe was passed yet.</param>
/// <param name="DrawBefore">Draw of each tank served before the run, litres per minute; null where unknown.</param>
public sealed record RunInProgress(
    DateTimeOffset StartedAt, PumpCause Cause, bool Manual, bool Automatic, double? Watts,
    ImmutableArray<Rise?> Rises, ImmutableArray<double?> DrawBefore);

/// <summary>What is known of one pump.</summary>
public sealed record PumpTimeline
{
    private readonly PackedTime since, manualSince, cutOutAt, earlyStartAt;

    /// <summary>Null before the first word.</summary>
    public bool? Running { get; init; }

    /// <summary>Since when it runs or rests.</summary>
    public DateTimeOffset? Since { get => since; init => since = value; }

    /// <summary>Why it last started or stopped.</summary>
    public PumpCause Cause { get; init; }

    public DateTimeOffset? ManualSince { get => manualSince; init => manualSince = value; }

    public RunInProgress? Run { get; init; }

    /// <summary>The detector at the tank inlet is wet; null before its first word.</summary>
    public bool? Flowing { get; init; }

    /// <summary>Starts by the control within the last hour; never manual ones nor top-ups.</summary>
    public RecentTimes AutomaticStarts { get; init; } = RecentTimes.None;

    /// <summary>The last six automatic runs that ended at the top.</summary>
    public ImmutableArray<TopRun> TopRuns { get; init; } = [];

    /// <summary>Seconds of automatic runs that ended at the top: this pump's own normal.</summary>
    public Sample NormalRunSeconds { get; init; } = Sample.Empty;

    /// <summary>Litres per minute of past runs, as the crossings tell.</summary>
    public Sample Deliveries { get; init; } = Sample.Empty;

    /// <summary>The newest voltage known where it runs, and the usual one; null where nothing measures it.</summary>
    public double? Volts { get; init; }
    public double? UsualVolts { get; init; }

    /// <summary>Well below the usual voltage, a pump turns slower and lifts less.</summary>
    public bool IsLowVoltage => Volts < 0.94 * UsualVolts;

    public RecentTimes DryTrips { get; init; } = RecentTimes.None;
    public RecentTimes VoltageTrips { get; init; } = RecentTimes.None;
    public RecentTimes OverloadTrips { get; init; } = RecentTimes.None;

    /// <summary>When the sump's lowest probe stopped it; null once the restart probe was wet again.</summary>
    public DateTimeOffset? CutOutAt { get => cutOutAt; init => cutOutAt = value; }

    /// <summary>When it last started after a cut-out before the restart probe was wet.</summary>
    public DateTimeOffset? EarlyStartAt { get => earlyStartAt; init => earlyStartAt = value; }

    public PumpRun? LastRun { get; init; }

    public bool IsManual => ManualSince is not null;
}

/// <summary>What is known of a unit's word, in event time.</summary>
/// <param name="Last">Stamp of its newest observation.</param>
/// <param name="MainsOffSince">Since when its mains are off; null while on or unknown.</param>
/// <param name="MainsKnown">It ever spoke of the mains.</param>
public sealed record UnitTimeline(Stamp? Last, DateTimeOffset? MainsOffSince, bool MainsKnown)
{
    private readonly PackedTime mainsOffSince = MainsOffSince;
    private readonly Stamp? last = Last;

    public Stamp? Last { get => last; init => last = value; }

    /// <summary>When <see cref="Last"/> happened, ticks, UTC: rules ask it dozens of times a message, and a stamp is large. 0 before the first.</summary>
    internal long LastTicks => Nullable.GetValueRefOrDefaultRef(in last).AtTicks;

    public DateTimeOffset? MainsOffSince { get => mainsOffSince; init => mainsOffSince = value; }

    public static readonly UnitTimeline Unheard = new(null, null, false);
}
