using System.Collections.Immutable;

namespace TankWatch.Simulator.Faults;

/// <param name="Kind">The fault.</param>
/// <param name="Name">Its trade name, as scripts and test names spell it.</param>
/// <param name="Target">The sort of device it sits in.</param>
/// <param name="DefaultSize">Size when none is given; 0 where size means nothing.</param>
/// <param name="Unit">Unit of the size; empty where size means nothing.</param>
/// <param name="Description">One line for whoever chooses faults.</param>
public sealed record FaultEntry(FaultKind Kind, string Name, FaultTarget Target, double DefaultSize, string Unit, string Description);

/// <summary>Every fault the simulator knows, in one place.</summary>
public static class FaultCatalogue
{
    public static ImmutableArray<FaultEntry> All { get; } =
    [
        new(FaultKind.ChatteringProbe, "chattering-probe", FaultTarget.Tank, 5, "s between changes", "A loose lead: the probe's reading turns over every few seconds at any level."),
        new(FaultKind.ProbeStuckDry, "probe-stuck-dry", FaultTarget.Tank, 0, "", "A corroded probe reads dry at any level."),
        new(FaultKind.ProbeStuckWet, "probe-stuck-wet", FaultTarget.Tank, 0, "", "A bridged probe reads wet at any level."),
        new(FaultKind.LostCommon, "lost-common", FaultTarget.Tank, 0, "", "The common electrode is lost: every probe of the tank reads dry at once."),
        new(FaultKind.ImpossibleOrder, "impossible-order", FaultTarget.Tank, 0, "", "The leads of a probe and the next one up are swapped."),
        new(FaultKind.WeakPump, "weak-pump", FaultTarget.Pump, 0.7, "of delivery left", "Delivery falls at once to a share of what it was."),
        new(FaultKind.PumpDecline, "pump-decline", FaultTarget.Pump, 0.01, "of delivery lost a day", "Delivery falls day by day, down to 30 %."),
        new(FaultKind.Leak, "leak", FaultTarget.Tank, 60, "L/h", "Water leaves the tank at all hours."),
        new(FaultKind.BackDrain, "back-drain", FaultTarget.Pump, 60, "L/h", "The non-return valve passes: while the pump rests, water runs back to its source."),
        new(FaultKind.HeavyUse, "heavy-use", FaultTarget.Site, 1.6, "times the usual", "Use is up, in its usual pattern; a named tank narrows it."),
        new(FaultKind.SupplyMissed, "supply-missed", FaultTarget.Site, 0, "of its flow left", "The public supply does not come, or comes weakly; a named sump narrows it."),
        new(FaultKind.DrySump, "dry-sump", FaultTarget.Source, 0, "", "The sump runs out within two minutes and stays empty, or the bore gives nothing."),
        new(FaultKind.LowVoltage, "low-voltage", FaultTarget.Site, 185, "V", "The mains sag: a slower pump, and below its limit none."),
        new(FaultKind.HighVoltage, "high-voltage", FaultTarget.Site, 268, "V", "The mains are too high: the pump is stopped."),
        new(FaultKind.Overload, "overload", FaultTarget.Pump, 20, "s of running", "The motor draws too much: its relay trips that long after each start."),
        new(FaultKind.PowerCut, "power-cut", FaultTarget.Site, 0, "", "The mains are off."),
        new(FaultKind.SilentUnit, "silent-unit", FaultTarget.Unit, 0, "", "No link, and what the unit says meanwhile is lost."),
        new(FaultKind.LinkLost, "link-lost", FaultTarget.Unit, 0, "", "No link; what the unit says meanwhile arrives afterwards as a backlog."),
        new(FaultKind.UnitRestart, "unit-restart", FaultTarget.Unit, 0, "", "The unit restarts at the onset: a higher boot, and seq from 0."),
        new(FaultKind.PumpWontStart, "pump-wont-start", FaultTarget.Pump, 0, "", "A tank calls and the pump does not start."),
        new(FaultKind.NoStopAtTop, "no-stop-at-top", FaultTarget.Pump, 0, "", "The contactor sticks: a running pump runs on through the top probe."),
        new(FaultKind.NoStopAtCutOut, "no-stop-at-cut-out", FaultTarget.Pump, 0, "", "The pump runs on although the sump's cut-out probe is dry."),
        new(FaultKind.EarlyRestart, "early-restart", FaultTarget.Pump, 0, "", "After a cut-out the pump starts as soon as the cut-out probe is wet, before the restart probe."),
        new(FaultKind.LeftInManual, "left-in-manual", FaultTarget.Pump, 20, "min by hand", "The pump is left in manual: run by hand now and every 8 hours, with every protection bypassed."),
        new(FaultKind.BlockedRiser, "blocked-riser", FaultTarget.Pump, 0, "of delivery left", "The riser is closed or choked, or the pump has lost its prime: it runs and little or nothing arrives."),
        new(FaultKind.ClockWrong, "clock-wrong", FaultTarget.Unit, double.NaN, "s ahead", "The unit's clock is off; without a size it counts from 1970."),
        new(FaultKind.NoClock, "no-clock", FaultTarget.Unit, 0, "", "The unit has no clock, and its messages no time."),
        new(FaultKind.OrificeLeak, "orifice-leak", FaultTarget.Tank, 60, "L/h at half depth", "A hole in the tank's bottom: it leaks as the root of the depth above it."),
        new(FaultKind.GrowingLeak, "growing-leak", FaultTarget.Tank, 30, "L/h more a week", "A leak that begins as nothing and grows steadily."),
        new(FaultKind.NightWatering, "night-watering", FaultTarget.Tank, 300, "L a day", "A garden is watered for an hour and a half a day, each day at the time of day of its onset."),
    ];

    private static readonly ImmutableDictionary<string, FaultKind> ByName = All.ToImmutableDictionary(e => e.Name, e => e.Kind, StringComparer.Ordinal);

    public static FaultEntry Of(FaultKind kind) => All[(int)kind];

    public static bool TryParse(string? name, out FaultKind kind)
    {
        kind = default;
        return name is not null && ByName.TryGetValue(name, out kind);
    }
}
