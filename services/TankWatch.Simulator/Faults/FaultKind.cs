namespace TankWatch.Simulator.Faults;

/// <summary>What can go wrong at a simulated site. <see cref="FaultCatalogue"/> gives each its trade name, its target and its size.</summary>
/// <remarks>Probes too close are no fault of a day but an arrangement: a site file says so.</remarks>
public enum FaultKind
{
    ChatteringProbe,
    ProbeStuckDry,
    ProbeStuckWet,
    LostCommon,
    ImpossibleOrder,
    WeakPump,
    PumpDecline,
    Leak,
    BackDrain,
    HeavyUse,
    SupplyMissed,
    DrySump,
    LowVoltage,
    HighVoltage,
    Overload,
    PowerCut,
    SilentUnit,
    LinkLost,
    UnitRestart,
    PumpWontStart,
    NoStopAtTop,
    NoStopAtCutOut,
    EarlyRestart,
    LeftInManual,
    BlockedRiser,
    ClockWrong,
    NoClock,
    OrificeLeak,
    GrowingLeak,
    NightWatering,
}

/// <summary>The sort of device a fault sits in.</summary>
public enum FaultTarget
{
    /// <summary>The whole site; a named device narrows it where that means something.</summary>
    Site,

    /// <summary>Any tank; the first overhead tank unless named.</summary>
    Tank,

    /// <summary>A sump, or a pump that draws from a bore; the first pump's source unless named.</summary>
    Source,

    /// <summary>A pump; the first unless named.</summary>
    Pump,

    /// <summary>A field unit; the first unless named.</summary>
    Unit,
}
