using System.Buffers;
using TankWatch.Core.Findings;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Supply;
using TankWatch.Core.Texts;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Findings;

/// <summary>low-supply by the hours of the supply, given or learnt, and running-out ahead of time: a house with supply from 5 to 7 and from 17 to 19.</summary>
public sealed class SupplyTests
{
    private const string Given = """, "supplyHours": [ "05:00-07:00", "17:00-19:00" ]""";
    private static readonly int[] None = [];

    [Fact]
    public void A_house_whose_supply_comes_is_never_short()
    {
        var days = new LivedHouse().Live("30d 00:00").Outcome();
        days.Never(FindingKind.LowSupply);
        days.Never(FindingKind.RunningOut);
        Assert.True(days.State.Timeline.Tanks[0].Supply!.HasLearnt);
    }

    [Fact]
    public void A_supply_missed_is_told_the_same_day_with_the_litres_that_are_missing_until_it_is_back()
    {
        var found = new LivedHouse().Live("20d 00:00").Live("21d 00:00", supply: None).Live("22d 00:00").Outcome().Only(FindingKind.LowSupply);
        Assert.InRange(found.RaisedAt, Scenario.TimeOf("20d 07:00"), Scenario.TimeOf("20d 13:00"));
        Assert.InRange(found.Since, Scenario.TimeOf("20d 02:00"), Scenario.TimeOf("20d 07:00"));
        Assert.Equal(("short", "L"), (found.Estimate!.Name, found.Estimate.Unit));
        Assert.InRange(2600, found.Estimate.Size.Low, found.Estimate.Size.High); // [D] From probe full, 3600 L, to probe restart, 1000 L.
        Assert.InRange(found.ClearedAt!.Value, Scenario.TimeOf("21d 05:00"), Scenario.TimeOf("21d 08:00"));
        Assert.Contains(found.Said().Evidence, line => line.StartsWith("Expected: water at probe full", StringComparison.Ordinal));
    }

    [Fact]
    public void Hours_that_the_site_file_gives_serve_before_anything_is_learnt()
    {
        var found = new LivedHouse(Given).Live("5d 00:00").Live("5d 16:00", supply: None).Outcome().Only(FindingKind.LowSupply);
        Assert.InRange(found.RaisedAt, Scenario.TimeOf("5d 08:00"), Scenario.TimeOf("5d 13:00"));
        Assert.Contains("The supply is due 05:00 to 07:00 and 17:00 to 19:00.", found.Said().Evidence);
    }

    [Fact]
    public void Before_that_and_without_given_hours_only_a_sump_that_stays_empty_is_told()
    {
        var found = new LivedHouse().Live("5d 00:00").Live("5d 16:00", supply: None).Outcome().Only(FindingKind.LowSupply);
        Assert.Contains("is empty", found.Said().Summary, StringComparison.Ordinal);
    }

    [Fact]
    public void Guests_who_draw_what_the_supply_brings_are_no_missed_supply() =>
        new LivedHouse().Live("20d 00:00").Live("23d 00:00", draw: 330).Live("25d 00:00").Outcome().Never(FindingKind.LowSupply);

    [Fact]
    public void A_sump_that_hardly_moves_its_probes_teaches_nothing()
    {
        var always = Enumerable.Range(0, 24).ToArray();
        var days = new LivedHouse().Live("20d 00:00", supply: always).Outcome();
        Assert.Equal((-1, 0), (days.State.Timeline.Tanks[0].Supply!.Probe, days.State.Timeline.Tanks[0].Supply!.Expected));
    }

    [Fact]
    public void Days_that_ran_low_do_not_become_the_usual()
    {
        var house = new LivedHouse().Live("20d 00:00");
        for (var day = 20; day < 29; day += 3)
        {
            house.Live($"{day}d 23:00", supply: None).Live($"{day + 3}d 00:00");
        }

        Assert.NotEqual(0, house.Outcome().State.Timeline.Tanks[0].Supply!.Expected);
    }

    [Fact]
    public void A_tank_that_an_empty_sump_will_not_fill_is_told_of_ahead_and_when_it_will_be_empty()
    {
        var house = new LivedHouse().Live("20d 00:00").Live("22d 00:00", supply: None);
        var found = house.All(FindingKind.RunningOut)[0];
        Assert.Equal(("empty-in", "h"), (found.Estimate!.Name, found.Estimate.Unit));
        Assert.True(found.Said().Summary.Contains("will be empty in about", StringComparison.Ordinal), found.Said().Summary);
        var empty = EmptyFrom(new LivedHouse().Live("20d 00:00"), 20);
        Assert.InRange(empty, found.RaisedAt.AddHours(found.Estimate.Size.Low), found.RaisedAt.AddHours(found.Estimate.Size.High));
        Assert.True(found.RaisedAt < empty.AddMinutes(-30), $"raised {found.RaisedAt:u}, empty {empty:u}");
    }

    [Theory]
    [InlineData(10, 0)]
    [InlineData(18, 1)]
    public void A_tank_that_lasts_until_the_next_supply_is_not_running_out(int next, int told)
    {
        int[] hours = [5, 6, next, 17, 18];
        var house = new LivedHouse().Live("20d 00:00", supply: hours).Live("20d 07:00", supply: None).Live("20d 09:50", supply: None);
        Assert.Equal(told, house.All(FindingKind.RunningOut).Count);
    }

    [Fact]
    public void A_fire_reserve_is_no_water_to_plan_with()
    {
        double Hours(double reserve) => Tripped(new(fireReserve: reserve)).Live("20d 06:00").All(FindingKind.RunningOut)[0].Estimate!.Size.Value;

        Assert.Equal(150.0 / 200, Hours(0) - Hours(150), 0.1);
    }

    [Fact]
    public void A_pump_that_a_trip_holds_for_long_is_a_reason_before_the_lowest_probe_is_dry()
    {
        var found = Tripped(new()).Live("20d 06:00").All(FindingKind.RunningOut)[0];
        Assert.InRange(found.RaisedAt, Scenario.TimeOf("20d 04:10"), Scenario.TimeOf("20d 04:30"));
        Assert.Contains("overload stopped pump p1", found.Said().Summary, StringComparison.Ordinal);
        Assert.Contains("will be empty in about", found.Said().Summary, StringComparison.Ordinal);
    }

    [Fact]
    public void The_sentence_of_a_tank_says_how_long_it_lasts_only_where_something_keeps_it_from_being_filled()
    {
        string Water(LivedHouse house, string clock) => Languages.English.Say(SiteSentences.Water(house.Plan, house.Live(clock).Outcome().State, Scenario.TimeOf(clock)));
        // [D] At 03:40 some 670 L, at 200 L/h.
        var water = Water(Tripped(new()), "20d 03:45");
        Assert.True(System.Text.RegularExpressions.Regex.IsMatch(water, @"lasts [23](\.\d)? to [3-6](\.\d)? hours\."), water);
        Assert.DoesNotContain("lasts", Water(new(), "20d 03:00"), StringComparison.Ordinal);
    }

    [Fact]
    public void A_trip_that_passes_is_none()
    {
        var house = Tripped(new()).Live("20d 04:05");
        house.Trip = null;
        house.Live("20d 12:00").Outcome().Never(FindingKind.RunningOut);
    }

    /// <summary>From 03:40 on the twentieth day, in the middle of a run.</summary>
    private static LivedHouse Tripped(LivedHouse house)
    {
        house.Live("20d 03:40").Trip = "overload";
        return house;
    }

    [Fact]
    public void What_people_see_of_a_tank_lasts_as_long_as_it_does()
    {
        var house = new LivedHouse().Live("20d 00:00").Live("20d 14:00", supply: None);
        var outcome = house.Outcome();
        var hours = Lasting.Of(house.Plan, outcome.State, 1, Scenario.TimeOf("20d 14:00"));
        Assert.NotNull(hours);
        Assert.InRange(house.Roof / 200, hours.Value.Low, hours.Value.High);
        Assert.Null(Lasting.Of(house.Plan, outcome.State, 0, Scenario.TimeOf("20d 14:00"))); // A sump: nobody draws from it but pumps.
        Assert.Null(Lasting.Of(house.Plan, outcome.State, 1, Scenario.TimeOf("20d 18:00"))); // The unit's word is too old.
    }

    [Fact]
    public void What_a_sump_taught_goes_through_bytes_and_back()
    {
        var house = new LivedHouse().Live("25d 03:00");
        var state = house.Outcome().State;
        var bytes = new ArrayBufferWriter<byte>();
        SiteStateCodec.Write(state, house.Plan, bytes);
        var (before, after) = (state.Timeline.Tanks[0].Supply!, SiteStateCodec.Read(bytes.WrittenSpan, house.Plan)!.Timeline.Tanks[0].Supply!);
        Assert.Equal(SumpSupply.DaysKept, before.Past.Length);
        Assert.Equal(before.Past, after.Past);
        Assert.Equal(before with { Past = [] }, after with { Past = [] });
        Assert.True(before.Probe >= 0 && before.Expected != 0 && before.Comes != 0 && before.Anchor.Probe >= 0 && before.Anchor.Before is not null);
    }

    private static DateTimeOffset EmptyFrom(LivedHouse house, int day)
    {
        for (var minute = 1; ; minute++)
        {
            house.Live($"{day + (minute / 1440)}d {minute / 60 % 24:00}:{minute % 60:00}", supply: None);
            if (house.Roof == 0)
            {
                return Scenario.Midnight.AddDays(day).AddMinutes(minute);
            }
        }
    }
}
