using TankWatch.Core.Balance;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>By which ways water comes into a tank: two tanks, two pumps, and a riser they share.</summary>
public sealed class WaysInTests
{
    // p1 fills both; p2 fills the west alone.
    private static readonly SitePlan Plan = Plans.Of("""
        {
          "id": "twins", "name": "Twins", "timeZone": "Etc/UTC",
          "tanks": [
            { "id": "east", "role": "overhead", "capacityLitres": 2000, "probes": [ { "name": "a", "volumeLitres": 500 }, { "name": "b", "volumeLitres": 1800 } ] },
            { "id": "west", "role": "overhead", "capacityLitres": 2000, "probes": [ { "name": "c", "volumeLitres": 500 }, { "name": "d", "volumeLitres": 1800 } ] } ],
          "pumps": [ { "id": "p1", "from": null, "to": ["east", "west"] }, { "id": "p2", "from": null, "to": ["west"] } ],
          "units": [ { "id": "u1", "reports": ["east", "west", "p1", "p2"] } ]
        }
        """);

    private const int East = 0, West = 1;

    private static int? Flowing(int tank, Action<Scenario> day)
    {
        var scenario = Scenario.Of(Plan).At("00:00");
        day(scenario);
        return WaysIn.Flowing(scenario.Until("00:10").State.Timeline, Plan, tank);
    }

    [Fact]
    public void A_pump_with_a_shared_riser_has_two_ways_into_each_of_its_tanks_and_another_pump_one()
    {
        Assert.Equal((2, 3), (WaysIn.Count(Plan, East), WaysIn.Count(Plan, West)));
        Assert.Equal((0, 0, 2), (WaysIn.First(Plan, East, 0), WaysIn.First(Plan, West, 0), WaysIn.First(Plan, West, 1)));
    }

    [Fact]
    public void A_pump_that_was_not_heard_of_leaves_it_open_what_flows() =>
        Assert.Null(Flowing(West, day => day.Tank("east", "10").Tank("west", "10").Start("p1")));

    [Fact]
    public void Both_tanks_share_what_comes_up_while_neither_is_full()
    {
        static void Day(Scenario day) => day.Tank("east", "10").Tank("west", "10").Start("p1").Stop("p2");
        Assert.Equal((0b10, 0b10), (Flowing(East, Day), Flowing(West, Day)));
    }

    [Fact]
    public void A_full_tank_is_only_topped_up_and_leaves_the_rest_to_the_other()
    {
        static void Day(Scenario day) => day.Tank("east", "10").Tank("west", "10").Start("p1").Stop("p2").Tank("east", "11");
        Assert.Equal((WaysIn.ToppedUp, 0b01), (Flowing(East, Day), Flowing(West, Day)));
    }

    [Fact]
    public void A_pump_of_ones_own_fills_though_the_tank_is_full()
    {
        static void Day(Scenario day) => day.Tank("east", "10").Tank("west", "10").Stop("p1").Start("p2").Tank("west", "11");
        Assert.Equal((0, 0b100), (Flowing(East, Day), Flowing(West, Day)));
    }

    [Fact]
    public void Two_pumps_at_once_are_two_ways_at_once()
    {
        static void Day(Scenario day) => day.Tank("east", "10").Tank("west", "10").Start("p1").Start("p2");
        Assert.Equal((0b10, 0b110), (Flowing(East, Day), Flowing(West, Day)));
    }

    [Fact]
    public void Hours_of_each_way_are_counted_up_to_the_crossing()
    {
        var state = Scenario.Of(Plan).At("00:00").Tank("east", "10").Tank("west", "10").Stop("p1").Stop("p2")
            .At("01:00").Tank("west", "00").Start("p1").At("01:10").Tank("west", "10").At("01:12").Start("p2").At("01:24").Tank("east", "11").At("01:30").Tank("west", "11")
            .Until("01:30").State;
        var balance = state.Timeline.Tanks[West].Balance!;

        // 14 minutes of sharing, then 6 alone, with the second pump for 18 of them; the first crossing came back to its own probe within a ripple.
        var passage = Assert.Single(balance.First);
        Assert.Equal((0, 1), (passage.From, passage.To));
        Assert.Equal(TimeSpan.FromMinutes(30), passage.End - passage.Start);
        Assert.Equal([6, 24, 18, 0], new[] { passage.On.First, passage.On.Second, passage.On.Third, passage.On.Fourth }.Select(hours => Math.Round(hours * 60, 6)));
    }
}
