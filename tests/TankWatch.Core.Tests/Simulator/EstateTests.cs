using TankWatch.Simulator;
using Xunit;

namespace TankWatch.Core.Tests.Simulator;

/// <summary>What the demonstration promises to whoever watches it.</summary>
public class EstateTests
{
    // Whatever the hour at which somebody starts the demonstration, and whatever the month before it was like.
    public static TheoryData<ulong, double> Starts => new()
    {
        { 301, 0.1 }, { 302, 3.4 }, { 303, 6.9 }, { 304, 8.2 }, { 305, 11.7 }, { 306, 14.5 }, { 307, 18.3 }, { 308, 19.9 }, { 309, 22.6 },
    };

    [Fact]
    public void Every_site_file_is_accepted_without_a_warning_and_each_arrangement_is_there()
    {
        var plans = Estate.Buildings.Select(TestSites.PlanOf).ToList();

        Assert.InRange(plans.Count, 10, 12);
        Assert.Equal(Estate.SiteFiles.Keys.Order(), plans.Select(p => p.Id.Value).Order());
        Assert.Equal(plans.Sum(p => p.Units.Length), plans.SelectMany(p => p.Units).Select(u => u.Id).Distinct().Count());
        Assert.All(plans.SelectMany(p => p.Contacts), c => Assert.EndsWith("@example.org", c.Email, StringComparison.Ordinal));
        Assert.Contains(plans, p => p.Pumps.Any(u => u.From is null));
        Assert.Contains(plans, p => p.Pumps.Any(u => u.DryRunDetector && u.From is { } sump && p.Tanks[sump].Probes.IsEmpty));
        Assert.Contains(plans, p => p.Pumps.Any(u => u.To.Length == 2));
        Assert.Contains(plans, p => p.Pumps.Length == 2);
        Assert.Contains(plans, p => p.Tanks.Any(t => t.Probes.Length == 1));
        Assert.Contains(plans, p => p.Tanks.Any(t => t.Probes.Length == 8));
        Assert.Contains(plans, p => p.Tanks.Any(t => t.FireReserve.Value > 0));
        Assert.Contains(plans, p => p.Units.Length == 2);
    }

    [Theory]
    [MemberData(nameof(Starts))]
    public void A_chattering_probe_gives_more_than_six_automatic_starts_within_90_seconds_of_its_onset(ulong seed, double hour)
    {
        var seen = Live("pippin-lodge", seed, hour, TimeSpan.FromSeconds(110));

        Assert.True(seen.Pumps.Count(p => p is { Running: true, Cause: "level", Mode: "auto" }) > 6, $"seed {seed}, hour {hour}");
    }

    [Theory]
    [MemberData(nameof(Starts))]
    public void A_pump_runs_on_with_its_top_probe_wet_within_five_minutes(ulong seed, double hour)
    {
        var seen = Live("lantern-row", seed, hour, TimeSpan.FromMinutes(5));
        var last = seen.Pumps[^1];
        var top = seen.Levels.FindLast(l => l is { Tank: "roof" });

        Assert.True(last.Running, $"seed {seed}, hour {hour}: {last}");
        Assert.True(top is null or { Wet: "111" }, $"seed {seed}, hour {hour}: {top}"); // Null: full before the watching began.
        Assert.InRange(seen.Truth.TankLitres["roof"], 5000, 5300);
    }

    [Theory]
    [MemberData(nameof(Starts))]
    public void A_dry_sump_stops_its_pump_for_want_of_water_within_six_minutes(ulong seed, double hour)
    {
        var seen = Live("ternhouse", seed, hour, TimeSpan.FromMinutes(6));

        Assert.True(seen.StopsFor("dry-run") >= 1, $"seed {seed}, hour {hour}");
    }

    [Theory]
    [InlineData("wellyard")]
    [InlineData("wick-tower")]
    [InlineData("kiln-terrace")]
    public void Three_sites_of_one_area_go_dark_together(string id)
    {
        Assert.Equal("upper-terraces", TestSites.PlanOf(Estate.Buildings.Single(b => b.Id == id)).Area);
        Assert.Contains(Live(id, 311, 9, TimeSpan.FromMinutes(11)).Mains, m => !m.On);
    }

    [Fact]
    public void Every_fault_of_every_script_names_a_device_of_its_building()
    {
        foreach (var building in Estate.Buildings)
        {
            var script = building.History.Concat(building.Live).ToList();
            Assert.All(script, f => Assert.True(f.To is not { } to || to > f.From, $"{building.Id}: {f}"));
            Assert.All(building.History, f => Assert.True(f.From < TimeSpan.Zero, $"{building.Id}: {f}"));
            Assert.All(building.Live, f => Assert.True(f.From >= TimeSpan.Zero, $"{building.Id}: {f}"));
            TestSites.Begin(building, 1, TimeSpan.FromDays(30)); // Throws for a device that is not there.
        }
    }

    /// <summary>The messages of a demonstration that starts at that hour after five days of history.</summary>
    private static Watched Live(string id, ulong seed, double hour, TimeSpan time)
    {
        var history = TimeSpan.FromDays(5) + TimeSpan.FromHours(hour);
        var site = TestSites.Begin(Estate.Buildings.Single(b => b.Id == id), seed, history);
        site.Advance(TestSites.Start + history);
        return new Watched(site.Advance(TestSites.Start + history + time), site.Truth);
    }
}
