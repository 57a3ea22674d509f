using System.Collections.Immutable;
using System.Globalization;
using TankWatch.Simulator.Faults;

namespace TankWatch.Simulator;

/// <summary>
/// The estate of the demonstration: twelve invented buildings of the invented town of Quillhaven, one of each arrangement, with a month
/// behind them and things about to go wrong. Within two minutes of its start, one after the other: a power cut is told, a unit falls
/// silent, a pump starts too often, another keeps running dry, and the power cut is over. In the third minute an area goes dark, and the
/// pump that nobody acknowledged is told to the installer; in the fourth an alert comes back from the shelf. Then, over a day: a pump that
/// runs on, a missed supply, a leak and more, each healed again; after that life goes on quietly.
/// </summary>
public static class Estate
{
    private static readonly TimeSpan SoOften = TimeSpan.FromSeconds(20);
    private static readonly SimulationOptions Ordinary = new() { Seed = 0, Start = default };

    public static ImmutableArray<EstateBuilding> Buildings { get; } =
    [
        Building("sorrel-court", "three probes in roof and sump, a supply by the clock",
            history: [On(FaultKind.Leak, "roof", "-8.00:00", "16:00", 150)],
            live: [On(FaultKind.LeftInManual, "p1", "17:00", "19:30", 35)]),

        // The demonstration must show the third dry run within two minutes, so this control tries again sooner than most, and the first
        // two are just over. The leak keeps the roof from being full, or nothing would start the pump at night.
        Building("ternhouse", "sump without probes, dry-run detector at the inlet",
            Ordinary with { DryRunRetry = TimeSpan.FromMinutes(2) },
            history:
            [
                On(FaultKind.UnitRestart, "qh-02a", "-12.04:10", "-12.04:09"),
                On(FaultKind.Leak, "roof", "-00:20:00", "-00:04:00", 600),
                On(FaultKind.DrySump, "sump", "-00:05:30", "00:25:00"),
            ],
            topUps: EverySoOften("p1", "-00:05:50", "-00:03:20")),

        Building("wellyard", "bore, no sump",
            history: [On(FaultKind.PumpDecline, "bore-pump", "-22.00:00", "1.06:00", 0.012)],
            live: [On(FaultKind.PowerCut, null, "00:02:10", "00:12:00")]),

        // One probe both starts and stops, so a loose lead is a start at every other change.
        Building("pippin-lodge", "one probe",
            live: [On(FaultKind.ChatteringProbe, "roof", "00:00:18", "00:06:00", 3.5)]),

        Building("grand-cistern", "eight probes in a big tank",
            history: [On(FaultKind.ProbeStuckDry, "cistern", "-6.00:00", "-2.00:00", probe: 4)],
            live: [On(FaultKind.ProbeStuckWet, "cistern", "03:00", "22:00", probe: 3)]),

        Building("twin-gables", "two tanks on one riser",
            history: [On(FaultKind.WeakPump, "p1", "-11.09:00", "1.00:00", 0.74)],
            live:
            [
                On(FaultKind.Leak, "east", "05:00", "05:40", 300),
                On(FaultKind.LowVoltage, null, "05:30:30", "05:32:00", 185),
                On(FaultKind.LowVoltage, null, "05:33:30", "05:35:00", 185),
                On(FaultKind.LowVoltage, null, "05:36:30", "05:38:00", 185),
            ],
            topUps: [At("p1", "05:30"), At("p1", "05:33"), At("p1", "05:36")]),

        // The Will comes 90 s after the last word, and silence is called so 10 minutes after the Will. The other unit has a word to say
        // just then, so that it need not wait for the next whole minute.
        Building("ostlers-place", "two pumps, each with its own tank, from one sump; two units",
            history:
            [
                On(FaultKind.BackDrain, "ps", "-9.00:00", "1.12:00", 260),
                On(FaultKind.LinkLost, "qh-07b", "-4.06:00", "-3.22:00"),
                On(FaultKind.LinkLost, "qh-07b", "-00:10:32", "00:06:00"),
            ],
            live: [On(FaultKind.HighVoltage, null, "00:00:59", "00:01:10", 251)]),

        Building("finch-mews", "probes too close"),

        // A power failure is told after a minute and over after another, and both are judged at the site's next word or the next whole
        // minute. So the cut begins just before, and the unit has a word to say when each is due: it restarts on its battery, and the
        // mains swing after their return.
        Building("brindle-hall", "four probes in the sump, supply in the early morning",
            history:
            [
                On(FaultKind.SupplyMissed, "sump", "-5.12:00", "-3.12:00"),
                On(FaultKind.PowerCut, null, "-00:00:45", "00:00:36"),
            ],
            live:
            [
                On(FaultKind.UnitRestart, "qh-09a", "00:00:17", "00:00:18"),
                On(FaultKind.HighVoltage, null, "00:01:38", "00:01:50", 251),
                On(FaultKind.SupplyMissed, "sump", "01:00", "20:00"),
                On(FaultKind.Leak, "sump", "02:30", "09:00", 1500), // A day without supply alone would not empty it.
            ]),

        Building("wick-tower", "a fire reserve below the lowest probe",
            history:
            [
                On(FaultKind.HeavyUse, null, "-10.00:00", "-6.00:00", 1.5),
                On(FaultKind.LowVoltage, null, "-2.13:00", "-2.09:00", 190),
            ],
            live:
            [
                On(FaultKind.PowerCut, null, "00:02:10", "00:12:00"),
                On(FaultKind.Leak, "roof", "02:00", "20:00", 180),
            ]),

        // Filled up just before, at any hour's use, so that a stuck contactor needs no more than a minute to run through the top.
        Building("lantern-row", "two probes in the sump",
            live: [On(FaultKind.NoStopAtTop, "p1", "00:02:55", "00:20:00")],
            topUps: [At("p1", "-02:30:00"), At("p1", "-00:20:00"), At("p1", "00:00:30"), At("p1", "00:03:00")]),

        Building("kiln-terrace", "dry-run detector and four roof probes; sump and roof on two units, without batteries",
            Ordinary with { UnitsHaveBattery = false },
            history: [On(FaultKind.Overload, "p1", "-7.03:00", "-6.15:00")],
            live:
            [
                On(FaultKind.PowerCut, null, "00:02:10", "00:12:00"),
                On(FaultKind.PumpWontStart, "p1", "08:00", "1.02:00"),
            ]),
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

    private static ScriptedTopUp[] EverySoOften(string pump, string from, string to) =>
        [.. Enumerable.Range(0, (int)((Span(to) - Span(from)) / SoOften) + 1).Select(i => new ScriptedTopUp(pump, Span(from) + (i * SoOften)))];

    private static TimeSpan Span(string text) => TimeSpan.Parse(text, CultureInfo.InvariantCulture);

    private static string ReadSiteFile(string id)
    {
        using var stream = typeof(Estate).Assembly.GetManifestResourceStream($"estate/{id}.json")
            ?? throw new InvalidOperationException($"The site file of {id} is not built in.");
        using var reader = new StreamReader(stream);
        return reader.ReadToEnd();
    }
}
