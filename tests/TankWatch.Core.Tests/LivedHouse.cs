using TankWatch.Core.Findings;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Tests;

/// <summary>
/// A house that lives minute by minute: people draw evenly from the roof, a pump lifts 40 L/min from a sump of 4000 L, and the public
/// supply brings 50 L/min until a float valve shuts.
/// </summary>
internal sealed class LivedHouse
{
    private const double LiftedAMinute = 40, SuppliedAMinute = 50, SumpHolds = 4000;
    private static readonly double[] SumpProbes = [400, 1000, 3600], RoofProbes = [200, 500, 900];

    private readonly Scenario day;
    private double sump = SumpHolds, roof = 895;
    private bool runs, calls, isCutOut;
    private string sumpSays = "", roofSays = "";
    private int minute;

    public LivedHouse(string site = "", double fireReserve = 0)
    {
        var reserve = fireReserve > 0 ? $", \"fireReserveLitres\": {Plans.Text(fireReserve)}" : "";
        Plan = Plans.Of($$"""
            { "id": "lived", "name": "Lived", "timeZone": "Etc/UTC",
              "tanks": [
                { "id": "sump", "role": "sump", "capacityLitres": 4200, "probes": [
                  { "name": "cut-out", "volumeLitres": 400 }, { "name": "restart", "volumeLitres": 1000 }, { "name": "full", "volumeLitres": 3600 } ] },
                { "id": "roof", "role": "overhead", "capacityLitres": 1000{{reserve}}, "probes": [
                  { "name": "low", "volumeLitres": 200 }, { "name": "mid", "volumeLitres": 500 }, { "name": "high", "volumeLitres": 900 } ] } ],
              "pumps": [ { "id": "p1", "from": "sump", "to": ["roof"], "ratedLitresPerMinute": 60 } ],
              "units": [ { "id": "u1", "reports": ["sump", "roof", "p1"] } ]{{site}} }
            """);
        day = Scenario.Of(Plan).At("00:00");
        day.Stop();
    }

    public SitePlan Plan { get; }

    /// <summary>What the roof holds above 0, litres: the truth.</summary>
    public double Roof => roof;

    /// <summary>Set to what holds the pump, such as <c>overload</c>; null lets it run.</summary>
    public string? Trip { get; set; }

    /// <param name="until">As in <see cref="Scenario.TimeOf"/>.</param>
    /// <param name="draw">Litres an hour.</param>
    /// <param name="supply">Hours in which the supply runs, each from its first minute to its last.</param>
    public LivedHouse Live(string until, double draw = 200, int[]? supply = null)
    {
        var last = (int)(Scenario.TimeOf(until) - Scenario.Midnight).TotalMinutes;
        for (; minute < last; minute++)
        {
            var comes = (supply ?? [5, 6, 17, 18]).Contains(minute / 60 % 24) && sump < SumpHolds;
            roof = Math.Max(0, roof - (draw / 60) + (runs ? LiftedAMinute : 0));
            sump += (comes ? SuppliedAMinute : 0) - (runs ? LiftedAMinute : 0);
            Say();
        }

        return this;
    }

    public Outcome Outcome() => day.Until(Clock);

    public IReadOnlyList<Finding> All(FindingKind kind) => [.. Outcome().Findings.Where(f => f.Kind == kind)];

    private string Clock => $"{minute / 1440}d {minute / 60 % 24:00}:{minute % 60:00}";

    private void Say()
    {
        var (sumpIs, roofIs) = (Wet(sump, SumpProbes), Wet(roof, RoofProbes));
        if (sumpIs != sumpSays || minute % 60 == 0) // At least hourly, as units promise.
        {
            day.At(Clock).Tank("sump", sumpSays = sumpIs);
        }

        if (roofIs != roofSays)
        {
            day.At(Clock).Tank("roof", roofSays = roofIs);
        }

        isCutOut = sump < SumpProbes[0] || (isCutOut && sump < SumpProbes[1]);
        calls = roof < RoofProbes[0] || (calls && roof < RoofProbes[2]);
        if (runs && (!calls || isCutOut || Trip is not null))
        {
            runs = false;
            day.At(Clock).Stop(cause: Trip ?? (isCutOut ? "sump-low" : "level"));
        }
        else if (!runs && calls && !isCutOut && Trip is null)
        {
            runs = true;
            day.At(Clock).Start();
        }
    }

    private static string Wet(double litres, double[] probes) => string.Concat(probes.Select(probe => litres >= probe ? '1' : '0'));
}
