using TankWatch.Core.Findings;

namespace TankWatch.Service.Pages;

/// <summary>What is wrong, in the plain words of the trade. The stored names (<see cref="FindingNames"/>) are for machines.</summary>
internal static class KindWords
{
    /// <summary>As a heading or a choice: "Leak".</summary>
    public static string Name(FindingKind kind) => Of(kind).Name;

    /// <summary>Of a building, to go on after its name and a colon: "it loses water at all hours".</summary>
    public static string Clause(FindingKind kind) => Of(kind).Clause;

    private static (string Name, string Clause) Of(FindingKind kind) => kind switch
    {
        FindingKind.ShortCycling => ("Pump starts too often", "its pump starts too often"),
        FindingKind.SlowFill => ("Slow to fill", "its tank takes longer to fill than it used to"),
        FindingKind.WeakPump => ("Weak pump", "its pump delivers less than it used to"),
        FindingKind.Leak => ("Leak", "it loses water at all hours"),
        FindingKind.HeavyUse => ("Heavy use", "it uses more water than usual"),
        FindingKind.RepeatedDryTrips => ("No water comes to the pump", "its pump keeps stopping because no water comes"),
        FindingKind.RunTooLong => ("Pump runs too long", "its pump runs longer than any filling takes"),
        FindingKind.OverflowRisk => ("About to overflow", "its pump runs on although the tank is full"),
        FindingKind.RunningOut => ("Running out of water", "it is running out of water"),
        FindingKind.LowSupply => ("Sump does not refill", "its sump does not refill"),
        FindingKind.BackDrain => ("Water runs back", "water runs back through its pump"),
        FindingKind.ProbeFault => ("Probe fault", "the probes of a tank cannot be right"),
        FindingKind.VoltageTrips => ("Voltage stops the pump", "the supply voltage keeps stopping its pump"),
        FindingKind.OverloadTrips => ("Pump overloaded", "its pump was stopped for overload"),
        FindingKind.NoStart => ("Pump does not start", "its pump does not start although a tank calls for water"),
        FindingKind.ControlFault => ("Control fault", "its control does not follow the probes"),
        FindingKind.LeftInManual => ("Left in manual", "its pump was left in manual mode"),
        FindingKind.UnitSilent => ("Unit silent", "its field unit has gone silent"),
        FindingKind.PowerFailure => ("Power cut", "its mains are off"),
        FindingKind.AreaOutage => ("Area outage", "its whole area is silent or dark"),
        _ => throw new ArgumentOutOfRangeException(nameof(kind)),
    };
}
