using System.Collections.Immutable;

namespace TankWatch.Core.Findings.Rules;

/// <summary>
/// What can hurt someone who goes to look. Every text defers to local codes and licensed people, and none asks anyone to run a pump
/// dry, bypass a protection, open a starter, or lean into or enter a tank or sump.
/// </summary>
internal static class Cautions
{
    public const string Electric =
        "The pump can start at any moment, by itself or when the supply returns. Nobody touches the pump, its wiring or the probes before a licensed electrician has isolated and locked it off, under the local code.";

    public const string Sump =
        "A sump or tank is a confined space: do not enter it and do not lean into it, not even to help someone. Air in it can kill without warning. Leave it to people trained and equipped for it under the local rules.";

    public const string Height = "Roof tanks mean work at height: use a safe access, and do not go up alone, in the dark or in a storm.";

    public const string Water =
        "After any work inside a tank, have it cleaned and disinfected as the local health authority asks before anyone drinks from it. Levels say nothing about water quality.";

    public const string Overload =
        "An overload trip is a warning of a seized pump, a failing motor or a wiring fault. Do not switch it back on to try again: leave it off until a licensed person has found the cause.";

    public const string NotProtection = "This is monitoring, not protection: it can be late or lost, and it stops nothing by itself.";

    public static readonly ImmutableArray<string> Pump = [Electric, NotProtection];
    public static readonly ImmutableArray<string> Tank = [Height, Sump, Water];
    public static readonly ImmutableArray<string> PumpAndTank = [Electric, Height, Sump];
    public static readonly ImmutableArray<string> PumpAndSump = [Electric, Sump];
}
