using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Timelines;

public sealed class SiteSentencesTests
{
    private static (string Water, string Pumps) Said(Scenario day, string until)
    {
        var outcome = day.Until(until);
        return (Languages.English.Say(SiteSentences.Water(outcome.Plan, outcome.State, Scenario.TimeOf(until))), Languages.English.Say(SiteSentences.Pumps(outcome.Plan, outcome.State, Scenario.TimeOf(until))));
    }

    private static Scenario House() => Scenario.Of(Plans.House());

    [Fact]
    public void Before_the_first_word_nothing_is_known() =>
        Assert.Equal(("Nothing has been heard of it yet.", "Nothing is known of pump p1 yet."), Said(House(), "06:00"));

    [Fact]
    public void What_was_not_spoken_of_is_told_to_be_unknown() =>
        Assert.Equal(("Nothing is known of the water in roof yet.", "Nothing is known of pump p1 yet."), Said(House().At("06:00").Mains(true), "06:30"));

    [Theory]
    [InlineData("000", "Since 06:00 tank roof is below its lowest probe: 1\u202f500 litres or less.")]
    [InlineData("100", "Tank roof holds between 1\u202f500 and 3\u202f900 litres.")]
    [InlineData("110", "Tank roof holds between 3\u202f900 and 5\u202f800 litres.")]
    [InlineData("111", "Since 06:00 tank roof is full: 5\u202f800 litres or more.")]
    [InlineData("101", "Tank roof holds between 1\u202f500 and 6\u202f000 litres, as far as its probes can be believed.")] // Both readings are in it.
    [InlineData("010", "Tank roof holds between 0 and 5\u202f800 litres, as far as its probes can be believed.")]
    public void Water_is_told_as_bounds(string wet, string said) => Assert.Equal(said, Said(House().At("06:00").Tank("roof", wet), "06:30").Water);

    [Theory]
    [InlineData("110", "100", "Since 07:10 tank roof is down to between 1\u202f500 and 3\u202f900 litres.")]
    [InlineData("100", "110", "Since 07:10 tank roof is up to between 3\u202f900 and 5\u202f800 litres.")]
    [InlineData("010", "110", "Tank roof holds between 3\u202f900 and 5\u202f800 litres.")] // The lowest went wet last: no surface came there.
    public void Which_way_the_water_went_is_told_with_the_time(string before, string after, string said) =>
        Assert.Equal(said, Said(House().At("07:00").Tank("roof", before).At("07:10").Tank("roof", after), "08:00").Water);

    [Theory]
    [InlineData("23:30", "Since 06:00 tank")]
    [InlineData("1d 05:00", "Since yesterday 06:00 tank")]
    [InlineData("3d 05:00", "Since Monday 06:00 tank")]
    [InlineData("8d 05:00", "Since 2 March, 06:00 tank")]
    public void Of_another_day_the_day_is_told_too(string now, string said) =>
        Assert.StartsWith(said, Said(House().At("06:00").Tank("roof", "111"), now).Water, StringComparison.Ordinal);

    [Fact]
    public void The_day_and_the_clock_are_the_sites_own() => Assert.StartsWith(
        "Since yesterday 22:00 tank", Said(Scenario.Of(Plans.House(zone: "America/Lima")).At("03:00").Tank("roof", "111"), "06:00").Water, StringComparison.Ordinal);

    [Fact]
    public void An_old_word_is_told_to_be_old()
    {
        var (water, pumps) = Said(House().At("06:00").Tank("roof", "110").Stop(cause: "dry-run").Silent(), "10:00");
        Assert.Equal("4 hours ago tank roof held between 3\u202f900 and 5\u202f800 litres.", water);
        Assert.Equal("4 hours ago pump p1 was at rest, stopped because no water came.", pumps);
        Assert.Equal(
            ("4 hours ago tank roof was below its lowest probe: 1\u202f500 litres or less.", "4 hours ago pump p1 was running."),
            Said(House().At("06:00").Tank("roof", "000").Start().Silent(), "10:00"));
    }

    [Fact]
    public void A_fire_reserve_is_not_shown_as_water_to_use()
    {
        var plan = Plans.House();
        var reserved = plan with { Tanks = [plan.Tanks[0], plan.Tanks[1] with { FireReserve = new(2000) }] };
        Assert.Equal("Tank roof holds between 0 and 1\u202f900 litres above the fire reserve.", Said(Scenario.Of(reserved).At("06:00").Tank("roof", "100"), "06:30").Water);
    }

    [Fact]
    public void Probes_that_fail_tell_nothing_of_the_water()
    {
        Assert.Equal("What roof holds is not known: its probes fail.", Said(House().At("06:00").Tank("roof", "110").After(1).Tank("roof", "000"), "06:30").Water);
        Assert.Equal(
            "What roof holds is not known: its probes failed 4 hours ago.",
            Said(House().At("05:59").Tank("roof", "110").After(1).Tank("roof", "000").Silent(), "10:00").Water);
    }

    [Fact]
    public void A_sump_is_told_of_when_it_is_empty()
    {
        var day = House().At("06:00").Tank("roof", "111").Tank("sump", "100").At("07:00").Tank("sump", "000");
        Assert.Equal(
            "Since 06:00 tank roof is full: 5\u202f800 litres or more. Since 07:00 the sump is below its lowest probe: 1\u202f500 litres or less.", Said(day, "08:00").Water);
    }

    [Fact]
    public void A_sump_that_nobody_measures_is_not_told_to_be_empty()
    {
        var plan = Plans.House();
        var blind = plan with { Tanks = [plan.Tanks[0] with { Probes = [] }, plan.Tanks[1]] };
        Assert.Equal("Tank roof holds between 1\u202f500 and 3\u202f900 litres.", Said(Scenario.Of(blind).At("06:00").Tank("roof", "100").Tank("sump", ""), "06:30").Water);
        var bore = Scenario.Of(Plans.Bore([1000, 5000])).At("06:00").Tank("roof", "10").Stop(cause: "sump-low");
        Assert.Equal(
            ("Tank roof holds between 1\u202f000 and 5\u202f000 litres.", "Since 06:00 pump p1 has been at rest, stopped because its source ran low."), Said(bore, "06:30"));
    }

    [Fact]
    public void A_site_with_nothing_but_a_sump_tells_of_the_sump()
    {
        var plan = Plans.House();
        var low = plan with { Tanks = [plan.Tanks[0]], Pumps = [], Units = [plan.Units[0] with { Tanks = [0], Pumps = [] }] };
        Assert.Equal(
            ("The sump holds between 1\u202f500 and 4\u202f800 litres.", "No pump is monitored here."), Said(Scenario.Of(low).At("06:00").Tank("sump", "100"), "06:30"));
    }

    [Fact]
    public void A_pump_in_manual_mode_is_told_to_be() => Assert.Equal(
        "Since 06:00 pump p1 has been running, in manual mode.",
        Said(House().At("05:00").Stop().At("06:00").Start(cause: "manual", mode: "manual"), "06:10").Pumps);

    [Theory]
    [InlineData("sump-low", ", stopped by an empty sump.")]
    [InlineData("under-voltage", ", stopped by low voltage.")]
    [InlineData("level", ".")]
    public void What_stopped_a_pump_is_told_where_it_matters(string cause, string said) =>
        Assert.Equal("Since 06:00 pump p1 has been at rest" + said, Said(House().At("05:00").Start().At("06:00").Stop(cause: cause), "06:10").Pumps);

    [Fact]
    public void Up_to_three_tanks_are_told_one_by_one_of_more_those_that_matter()
    {
        Assert.Equal(
            "Tank t0 holds between 500 and 1\u202f000 litres. Since 06:00 tank t1 is full: 1\u202f800 litres or more. Since 06:00 tank t2 is below its lowest probe: 500 litres or less.",
            Said(Tanks("100", "111", "000"), "06:30").Water);
        Assert.Equal(
            "Since 06:00 tank t2 is below its lowest probe: 500 litres or less. Tank t0 holds between 500 and 1\u202f000 litres. 3 more hold between 1\u202f000 and 2\u202f000 litres each.",
            Said(Tanks("100", "111", "000", "110", "111"), "06:30").Water);
        Assert.Equal(
            "Tank t0 holds between 500 and 1\u202f000 litres. Since 06:00 tank t1 is full: 1\u202f800 litres or more. What 2 more hold now is not known.",
            Said(Tanks("100", "111", null, null), "06:30").Water);
        Assert.Equal("What 4 tanks hold now is not known.", Said(Tanks("100", "110", "100", "110").Silent(), "10:00").Water);
    }

    [Fact]
    public void Of_many_pumps_the_tripped_ones_are_told_first_and_the_rest_counted()
    {
        var plan = Plans.House();
        var many = plan with
        {
            Pumps = [.. Enumerable.Range(0, 5).Select(i => plan.Pumps[0] with { Id = new($"p{i}"), Index = i })],
            Units = [plan.Units[0] with { Pumps = [0, 1, 2, 3, 4] }],
        };
        var day = Scenario.Of(many).At("06:00").Stop("p0").Start("p1").Start("p2").Stop("p4", cause: "overload");
        Assert.Equal(
            "Since 06:00 pump p4 has been at rest, stopped by overload. Since 06:00 pump p1 has been running. Of 3 more pumps: 1 running, 1 at rest, 1 not known.",
            Said(day, "06:10").Pumps);
    }

    /// <summary>Roof tanks t0, t1 and so on, each of 2000 litres with probes at 500, 1000 and 1800; null for one that says nothing.</summary>
    private static Scenario Tanks(params string?[] wet)
    {
        var plan = Plans.TwoOnOneRiser();
        var tanks = wet.Select((_, i) => plan.Tanks[0] with { Id = new($"t{i}"), Role = TankRole.Overhead, Index = i }).ToArray();
        var day = Scenario.Of(plan with { Tanks = [.. tanks], Pumps = [], Units = [plan.Units[0] with { Tanks = [.. tanks.Select(t => t.Index)], Pumps = [] }] }).At("06:00");
        for (var i = 0; i < wet.Length; i++)
        {
            if (wet[i] is { } probes)
            {
                day.Tank($"t{i}", probes);
            }
        }

        return day;
    }
}
