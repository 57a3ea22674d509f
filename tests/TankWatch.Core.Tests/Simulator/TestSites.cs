using System.Collections.Immutable;
using System.Text;
using TankWatch.Core.Sites;
using TankWatch.Simulator;
using TankWatch.Simulator.Faults;
using Xunit;

namespace TankWatch.Core.Tests.Simulator;

/// <summary>Plans built by hand, and ways to run them.</summary>
internal static class TestSites
{
    public static readonly DateTimeOffset Start = new(2026, 3, 2, 0, 0, 0, TimeSpan.Zero); // A Monday.

    public static readonly SimulationOptions Exact = new()
    {
        Seed = 1,
        Start = Start,
        ProbeErrorMillimetres = 0,
        RippleShare = 0,
        VoltageSpread = 0,
        TrueLitresPerMinute = ImmutableDictionary<string, double>.Empty.Add("p1", 50),
    };

    public static SimulationOptions Seeded(ulong seed) => new() { Seed = seed, Start = Start };

    /// <summary>One roof tank of 1,200 L with probes at 300, 700 and 1,100 L, fed from a bore.</summary>
    public static SitePlan BoreAndRoof(double low = 300, double high = 1100, bool detector = false) => Plan(
        [Tank(0, "roof", TankRole.Overhead, 1200, low, (low + high) / 2, high)],
        [Pump(0, "p1", null, [0], detector)]);

    /// <summary>A sump of 6,000 L (900, 2,400, 4,200 L) under a roof tank of 2,000 L (500, 1,200, 1,800 L); the public supply comes all day.</summary>
    public static SitePlan SumpAndRoof(bool detector = false) => Plan(
        [
            Tank(0, "sump", TankRole.Sump, 6000, 900, 2400, 4200),
            Tank(1, "roof", TankRole.Overhead, 2000, 500, 1200, 1800),
        ],
        [Pump(0, "p1", 0, [1], detector)]);

    /// <summary>A sump of 8,000 L under two roof tanks of 2,000 and 3,000 L on one riser.</summary>
    public static SitePlan TwoTanksOnOneRiser() => Plan(
        [
            Tank(0, "sump", TankRole.Sump, 8000, 1000, 3000, 5500),
            Tank(1, "east", TankRole.Overhead, 2000, 500, 1200, 1800),
            Tank(2, "west", TankRole.Overhead, 3000, 700, 1800, 2700),
        ],
        [Pump(0, "p1", 0, [1, 2], false)]);

    public static SitePlan OneProbe() => Plan([Tank(0, "roof", TankRole.Overhead, 2000, 1400)], [Pump(0, "p1", null, [0], false)]);

    public static Watched Watch(SitePlan plan, SimulationOptions options, TimeSpan time, params Fault[] faults)
    {
        var site = new SimulatedSite(plan, options, faults);
        return new Watched(site.Advance(options.Start + time), site.Truth);
    }

    /// <summary>A building of the estate with its script, advanced to a demonstration that starts some time after the units.</summary>
    public static SimulatedSite Begin(EstateBuilding building, ulong seed, TimeSpan history) =>
        building.Begin(PlanOf(building), seed, Start + history, history);

    public static SitePlan PlanOf(EstateBuilding building)
    {
        var result = SiteFile.Parse(Encoding.UTF8.GetBytes(building.SiteFile));
        Assert.Empty(result.Faults);
        Assert.Empty(result.Warnings);
        return result.Plan!;
    }

    private static SitePlan Plan(ImmutableArray<Tank> tanks, ImmutableArray<Pump> pumps) => new(
        new("test-site"), "Test Site", TimeZoneInfo.Utc, 24, null, null, tanks, pumps,
        [new FieldUnit(new("u1"), [.. tanks.Select(t => t.Index)], [.. pumps.Select(p => p.Index)])], null, null, [], []);

    private static Tank Tank(int index, string id, TankRole role, double capacity, params double[] probes) => new(
        new(id), role, new(capacity), [.. probes.Select((v, i) => new Probe($"probe {i}", new(v)))], new(0)) { Index = index };

    private static Pump Pump(int index, string id, int? from, ImmutableArray<int> to, bool detector) => new(
        new(id), from, to, 560, new(70), 16, 6, true, TimeSpan.FromSeconds(90), true, new(11), detector) { Index = index };
}
