using System.Collections.Immutable;
using System.Globalization;
using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator;

/// <summary>
/// The estate of the demonstration: twelve invented buildings of the invented town of Quillhaven, one of each arrangement,
/// with a month behind them and things about to go wrong: within two minutes a chattering probe, a pump that runs on and a
/// dry sump, then a power cut, a silent unit, and at ten minutes a cut of a whole area.
/// </summary>
public static class Estate
{
    private static readonly SimulationOptions Ordinary = new() { Seed = 0, Start = default };

    public static ImmutableArray<EstateBuilding> Buildings { get; } =
    [
        Building("sorrel-court", "three probes in roof and sump, a supply by the clock",
            history: [On(FaultKind.Leak, "roof", "-8.00:00", null, 75)]),

        // The demonstration must show a dry run and its repeats within minutes, so this control tries again sooner than most.
        Building("ternhouse", "sump without probes, dry-run detector at the inlet",
            Ordinary with { DryRunRetry = TimeSpan.FromMinutes(2) },
            history: [On(FaultKind.UnitRestart, "qh-02a", "-12.04:10", "-12.04:09")],
            live: [On(FaultKind.DrySump, "sump", "00:01:00", "00:25:00")],
            topUps: [At("p1", "00:01:05"), At("p1", "00:02:00"), At("p1", "00:04:00")]),

        Building("wellyard", "bore, no sump",
            history: [On(FaultKind.PumpDecline, "bore-pump", "-22.00:00", null, 0.012)],
            live: [On(FaultKind.PowerCut, null, "00:10:00", "00:22:00")]),

        // One probe both starts and stops, so a loose lead is a start at every other change.
        Building("pippin-lodge", "one probe",
            live: [On(FaultKind.ChatteringProbe, "roof", "00:00:18", "00:06:00", 3.5)]),

        Building("grand-cistern", "eight probes in a big tank",
            history: [On(FaultKind.ProbeStuckDry, "cistern", "-6.00:00", "-2.00:00", probe: 4)]),

        Building("twin-gables", "two tanks on one riser",
            history: [On(FaultKind.WeakPump, "p1", "-11.09:00", null, 0.74)]),

        Building("ostlers-place", "two pumps, each with its own tank, from one sump; two units",
            history:
            [
                On(FaultKind.BackDrain, "ps", "-9.00:00", null, 80),
                On(FaultKind.LinkLost, "qh-07b", "-4.06:00", "-3.22:00"),
            ],
            live: [On(FaultKind.SilentUnit, "qh-07b", "00:04:00")]),

        Building("finch-mews", "probes too close"),

        Building("brindle-hall", "four probes in the sump, supply in the early morning",
            history: [On(FaultKind.SupplyMissed, "sump", "-5.12:00", "-3.12:00")],
            live: [On(FaultKind.PowerCut, null, "00:02:30", "00:09:00")]),

        Building("wick-tower", "a fire reserve below the lowest probe",
            history:
            [
                On(FaultKind.HeavyUse, null, "-10.00:00", "-6.00:00", 1.5),
                On(FaultKind.LowVoltage, null, "-2.13:00", "-2.09:00", 190),
            ],
            live: [On(FaultKind.PowerCut, null, "00:10:00", "00:22:00")]),

        // Filled up just before, at any hour's use, so that a stuck contactor needs no more than a minute to run through the top.
        Building("lantern-row", "two probes in the sump",
            live: [On(FaultKind.NoStopAtTop, "p1", "00:00:25", "00:20:00")],
            topUps: [At("p1", "-02:30:00"), At("p1", "-00:20:00"), At("p1", "-00:02:00"), At("p1", "00:00:30")]),

        Building("kiln-terrace", "dry-run detector and four roof probes; sump and roof on two units, without batteries",
            Ordinary with { UnitsHaveBattery = false },
            history: [On(FaultKind.Overload, "p1", "-7.03:00", "-6.15:00")],
            live: [On(FaultKind.PowerCut, null, "00:10:00", "00:22:00")]),
    ];

    /// <summary>Site files as JSON, by site id.</summary>
    public static ImmutableDictionary<string, string> SiteFiles { get; } = Buildings.ToImmutableDictionary(b => b.Id, b => b.SiteFile);

    private static EstateBuilding Building(
        string id, string arrangement, SimulationOptions? traits = null,
        ScriptedFault[]? history = null, ScriptedFault[]? live = null, ScriptedTopUp[]? topUps = null) =>
        new(id, arrangement, ReadSiteFile(id), traits ?? Ordinary, [.. history ?? []], [.. live ?? []], [.. topUps ?? []]);

    private static ScriptedFault On(FaultKind kind, string? device, string from, string? to = null, double? size = null, int? probe = null) =>
        new(kind, device, Span(from), to is null ? null : Span(to), size, probe);

    private static ScriptedTopUp At(string pump, string at) => new(pump, Span(at));

    private static TimeSpan Span(string text) => TimeSpan.Parse(text, CultureInfo.InvariantCulture);

    private static string ReadSiteFile(string id)
    {
        using var stream = typeof(Estate).Assembly.GetManifestResourceStream($"estate/{id}.json")
            ?? throw new InvalidOperationException($"The site file of {id} is not built in.");
        using var reader = new StreamReader(stream);
        return reader.ReadToEnd();
    }
}
