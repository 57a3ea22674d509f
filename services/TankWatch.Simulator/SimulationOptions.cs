using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Simulator.Use;

namespace TankWatch.Simulator;

/// <summary>Someone asks for a pump to fill its tanks to the top although none calls.</summary>
public sealed record TopUpRequest(string Pump, DateTimeOffset At);

/// <summary>What is true of a simulated site and a site file does not say. Every default is a plausible healthy site.</summary>
public sealed record SimulationOptions
{
    /// <summary>The only source of chance; sites with different ids differ under one seed.</summary>
    public required ulong Seed { get; init; }

    /// <summary>When the units are switched on and the water begins to move.</summary>
    public required DateTimeOffset Start { get; init; }

    /// <summary>How often the coming draws are planned, the mains wander and the supply is looked at: whole minutes. Flows that follow a level are held for as long at most.</summary>
    public TimeSpan Tick { get; init; } = TimeSpan.FromMinutes(1);

    /// <summary>People who draw water; the site file's number, else 24.</summary>
    public int? Residents { get; init; }

    /// <summary>Mean use. Litres a person a day; 135 is the Indian standard's minimum for a home (IS 1172).</summary>
    public double LitresPerPersonPerDay { get; init; } = 135;

    /// <summary>A steady use of the whole site in place of people's draws. Litres per minute.</summary>
    public double? ConstantUseLitresPerMinute { get; init; }

    /// <summary>How people draw water; absent, the pattern of a typical home.</summary>
    public UsePattern? Use { get; init; }

    /// <summary>True delivery against the static lift with every tank open, by pump id. Litres per minute; absent, 70 % of the rated one, else 50.</summary>
    public ImmutableDictionary<string, double> TrueLitresPerMinute { get; init; } = ImmutableDictionary<string, double>.Empty;

    /// <summary>Flow of the public supply into each sump while it runs. Litres per minute; absent, enough for 1.5 to 1.8 days' use a day.</summary>
    public double? PublicSupplyLitresPerMinute { get; init; }

    /// <summary>Hours in which the public supply really runs; absent, those of the site file.</summary>
    public ImmutableArray<SupplyHours>? SupplyHours { get; init; }

    /// <summary>The pump's head with its valve closed, over its static lift. Above 1; the steeper the pump, the less its delivery varies with levels and volts.</summary>
    public double ShutOffOverLift { get; init; } = 1.4;

    /// <summary>The riser enters the tanks at their bottom, so that a full tank is harder to lift into.</summary>
    public bool RiserEntersBelow { get; init; }

    /// <summary>Litres in a tank at the start, by tank id; absent, somewhere in its upper half.</summary>
    public ImmutableDictionary<string, double> InitialLitres { get; init; } = ImmutableDictionary<string, double>.Empty;

    /// <summary>A unit without a battery falls silent in a power cut, and starts anew after it.</summary>
    public bool UnitsHaveBattery { get; init; } = true;

    /// <summary>Standard deviation of a probe's true height about the one in the site file. Millimetres; limited to 25 and to a quarter of the gap to its neighbours.</summary>
    public double ProbeErrorMillimetres { get; init; } = 6;

    /// <summary>How far a probe sits above the height the site file gives, by tank id and probe name joined by a slash; negative is below. Millimetres.</summary>
    public ImmutableDictionary<string, double> ProbeOffsetMillimetres { get; init; } = ImmutableDictionary<string, double>.Empty;

    /// <summary>Units measure the mains and say so in messages of pump and supply.</summary>
    public bool UnitsMeasureVolts { get; init; } = true;

    /// <summary>Share of probe changes that flicker once more in the ripples before they settle. 0 to 1.</summary>
    public double RippleShare { get; init; } = 0.04;

    /// <summary>Units' clocks ahead of true time at the start; negative is behind.</summary>
    public TimeSpan ClockOffset { get; init; }

    /// <summary>Units' clocks gain this many seconds in a million.</summary>
    public double ClockDriftPerMillion { get; init; }

    /// <summary>Longest ordinary delay from unit to broker.</summary>
    public TimeSpan ArrivalDelay { get; init; } = TimeSpan.FromSeconds(0.5);

    /// <summary>Share of messages that arrive a second time, up to 20 s later. 0 to 1.</summary>
    public double DuplicateShare { get; init; }

    /// <summary>A backlog comes as arrays, one kind each, instead of one message at a time.</summary>
    public bool BacklogAsArrays { get; init; }

    /// <summary>Standard deviation of the mains about 230 V, in volts; the pump's speed follows it a little.</summary>
    public double VoltageSpread { get; init; } = 4;

    /// <summary>Below this the pump is stopped, in volts.</summary>
    public double UnderVoltage { get; init; } = 195;

    /// <summary>Above this the pump is stopped, in volts.</summary>
    public double OverVoltage { get; init; } = 260;

    /// <summary>Rest after a dry-run stop before the control tries again.</summary>
    public TimeSpan DryRunRetry { get; init; } = TimeSpan.FromMinutes(20);

    public ImmutableArray<TopUpRequest> TopUps { get; init; } = [];
}
