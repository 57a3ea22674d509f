using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Simulator;
using TankWatch.Simulator.Faults;
using Xunit;

namespace TankWatch.Core.Tests.Simulator;

/// <summary>What a healthy control does, as its messages tell.</summary>
public class ControlTests
{
    public static TheoryData<string> Buildings => [.. Estate.Buildings.Select(b => b.Id)];

    [Theory]
    [MemberData(nameof(Buildings))]
    public void A_pump_starts_only_for_a_dry_lowest_probe_and_stops_only_at_a_wet_highest(string id)
    {
        var (plan, seed) = (PlanOf(id), 61UL);
        var seen = TestSites.Watch(plan, TestSites.Seeded(seed), TimeSpan.FromDays(10));
        foreach (var pump in plan.Pumps)
        {
            var tanks = pump.To.Select(t => plan.Tanks[t].Id.Value).ToList();
            var runs = seen.Runs(pump.Id.Value).ToList();
            Assert.True(runs.Count > 5, $"seed {seed}: {runs.Count} runs");
            Assert.All(runs.Where(r => r.StartCause is "level"), r =>
                Assert.True(tanks.Exists(t => seen.WetAt(t, r.Started).StartsWith('0')), $"seed {seed}: start at {r.Started:O}"));
            Assert.All(runs.Where(r => r.StopCause is "level"), r =>
                Assert.True(tanks.Exists(t => seen.WetAt(t, r.Stopped!.Value).EndsWith('1')), $"seed {seed}: stop at {r.Stopped:O}"));
            Assert.All(runs, r => Assert.Contains(r.StartCause, new[] { "level", "unknown" }));
            Assert.All(runs, r => Assert.Contains(r.StopCause, new[] { "level", null }));
        }
    }

    [Theory]
    [MemberData(nameof(Buildings))]
    public void A_healthy_site_never_shows_an_impossible_order(string id)
    {
        for (var seed = 70UL; seed < 75; seed++)
        {
            var seen = TestSites.Watch(PlanOf(id), TestSites.Seeded(seed) with { ProbeErrorMillimetres = 25 }, TimeSpan.FromDays(14));
            Assert.All(seen.Levels, l => Assert.False(l.Wet.Contains("01", StringComparison.Ordinal), $"seed {seed}: {l}"));
        }
    }

    [Fact]
    public void After_a_cut_out_the_pump_waits_for_the_restart_probe()
    {
        const ulong Seed = 81;
        var options = TestSites.Seeded(Seed) with { PublicSupplyLitresPerMinute = 1.5 };
        var seen = TestSites.Watch(TestSites.SumpAndRoof(), options, TimeSpan.FromDays(12));
        var runs = seen.Runs("p1").ToList();

        Assert.True(seen.StopsFor("sump-low") >= 2, $"seed {Seed}");
        foreach (var (cut, next) in runs.Zip(runs.Skip(1)).Where(p => p.First.StopCause is "sump-low"))
        {
            Assert.StartsWith("0", seen.WetAt("sump", cut.Stopped!.Value), StringComparison.Ordinal);
            Assert.StartsWith("11", seen.WetAt("sump", next.Started), StringComparison.Ordinal);
        }
    }

    [Fact]
    public void A_top_up_says_so_and_stops_at_the_top()
    {
        var at = TestSites.Start.AddHours(2);
        var options = TestSites.Seeded(91) with
        {
            TopUps = [new TopUpRequest("p1", at)],
            InitialLitres = ImmutableDictionary<string, double>.Empty.Add("roof", 1300),
        };
        var run = TestSites.Watch(TestSites.SumpAndRoof(), options, TimeSpan.FromHours(4)).Runs("p1").First();

        Assert.Equal(("top-up", "level", at), (run.StartCause, run.StopCause, run.Started));
    }

    [Fact]
    public void A_full_tank_does_not_take_a_top_up()
    {
        var options = TestSites.Seeded(92) with
        {
            TopUps = [new TopUpRequest("p1", TestSites.Start.AddMinutes(1))],
            InitialLitres = ImmutableDictionary<string, double>.Empty.Add("roof", 1990),
        };

        Assert.Empty(TestSites.Watch(TestSites.SumpAndRoof(), options, TimeSpan.FromMinutes(10)).Runs("p1"));
    }

    [Fact]
    public void A_dry_inlet_stops_the_pump_after_the_riser_could_have_filled_and_it_tries_again()
    {
        var fault = new Fault(FaultKind.BlockedRiser, "p1", TestSites.Start);
        var seen = TestSites.Watch(TestSites.SumpAndRoof(detector: true), TestSites.Seeded(93), TimeSpan.FromDays(1), fault);
        var trips = seen.Runs("p1").Where(r => r.StopCause is "dry-run").ToList();

        Assert.True(trips.Count > 3);
        Assert.All(trips, t => Assert.InRange(t.Seconds, 11.0 / 49 * 60, 60));
        Assert.All(trips.Zip(trips.Skip(1)), p => Assert.Equal(20, (p.Second.Started - p.First.Stopped!.Value).TotalMinutes, tolerance: 0.01));
        Assert.DoesNotContain(seen.Inlets, i => i.Flowing);
    }

    [Fact]
    public void A_tank_with_one_probe_runs_its_pump_for_a_swing_of_the_float()
    {
        var seen = TestSites.Watch(TestSites.OneProbe(), TestSites.Seeded(94), TimeSpan.FromDays(3));

        Assert.All(seen.Runs("p1").Where(r => r.Stopped is not null), r => Assert.True(r.Seconds > 90, $"{r}"));
    }

    private static SitePlan PlanOf(string id) => TestSites.PlanOf(Estate.Buildings.Single(b => b.Id == id));
}
