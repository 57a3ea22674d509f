using TankWatch.Core.Observations;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Timelines;

/// <summary>The figures of local calendar days (INTERFACE 5).</summary>
public sealed class DayTests
{
    private static Scenario House(string zone = "Etc/UTC", string pump = "") =>
        Scenario.Of(Plans.House(pump, zone: zone)).At("00:00").Tank("sump", "110").Tank("roof", "110").Stop();

    private static PumpDay Pump(Outcome outcome, int day) => outcome.Days[day].Pumps.Single();

    [Fact]
    public void A_start_belongs_to_its_day_and_seconds_are_split_at_midnight()
    {
        var outcome = House().At("23:40").Start().At("1d 00:30").Stop().At("1d 12:00").Start().At("1d 12:05").Stop().Until("2d 01:00");
        Assert.Equal((1, 1200.0, 1200.0), (Pump(outcome, 0).Starts, Pump(outcome, 0).RunSeconds, Pump(outcome, 0).LongestRunSeconds));
        Assert.Equal((1, 2100.0, 1800.0), (Pump(outcome, 1).Starts, Pump(outcome, 1).RunSeconds, Pump(outcome, 1).LongestRunSeconds));
        Assert.Equal([new(2026, 3, 2), new(2026, 3, 3)], outcome.Days.Select(d => d.Date));
    }

    [Fact]
    public void A_run_over_two_midnights_fills_the_day_between() =>
        Assert.Equal([21600.0, 86400.0, 21600.0], House().At("18:00").Start().At("2d 06:00").Stop().Until("3d 00:00").Days.Select(d => d.Pumps[0].RunSeconds));

    [Theory]
    [InlineData("Asia/Kolkata", "18:29:59", "2026-03-02")]
    [InlineData("Asia/Kolkata", "18:30", "2026-03-03")] // Local midnight: CHECKS H2 [V].
    [InlineData("Asia/Kathmandu", "18:15", "2026-03-03")] // CHECKS H2 [V].
    [InlineData("Etc/UTC", "23:59:59", "2026-03-02")]
    public void Days_are_those_of_the_site(string zone, string start, string date)
    {
        var outcome = House(zone).At(start).Start().After(10).Stop().Until("3d 00:00");
        Assert.Equal(date, outcome.Days.Single(d => d.Pumps[0].Starts == 1).Date.ToString("yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture));
    }

    [Theory] // CHECKS H2 [V]: both days have 23 hours.
    [InlineData("Europe/London", 27)]
    [InlineData("America/New_York", 6)]
    public void A_pump_that_never_rests_runs_as_long_as_the_day_is(string zone, int day)
    {
        var outcome = House(zone).At($"{day - 1}d 03:00").Start().At($"{day + 2}d 00:00").Stop().Until($"{day + 3}d 12:00");
        var date = DateOnly.FromDateTime(Scenario.Midnight.AddDays(day).DateTime);
        var seconds = outcome.Days.ToDictionary(d => d.Date, d => d.Pumps[0].RunSeconds);
        Assert.Equal(23 * 3600, seconds[date]);
        Assert.Equal(outcome.Runs.Single().Duration!.Value.TotalSeconds, seconds.Values.Sum());
    }

    [Fact]
    public void Only_days_that_the_record_spans_are_complete()
    {
        var late = Scenario.Of(Plans.House()).At("00:00:01").Tank("roof", "110").Until("2d 06:00");
        Assert.Equal([false, true], late.Days.Select(d => d.Complete));
        Assert.Equal([true, true], House().Until("2d 06:00").Days.Select(d => d.Complete));
    }

    [Fact]
    public void A_pump_found_running_has_not_started()
    {
        var outcome = Scenario.Of(Plans.House()).At("00:00").Tank("roof", "110").Start().At("01:00").Stop().Until("1d 00:00");
        Assert.Equal((0, 3600.0), (Pump(outcome, 0).Starts, Pump(outcome, 0).RunSeconds));
    }

    [Fact]
    public void A_state_said_again_is_neither_a_start_nor_a_run()
    {
        var outcome = House().At("06:00").Start().After(10).Start().After(10).Stop().After(10).Stop().Until("1d 00:00");
        Assert.Equal((1, 1200.0), (Pump(outcome, 0).Starts, Pump(outcome, 0).RunSeconds));
        Assert.Single(outcome.Runs);
    }

    [Fact]
    public void Manual_runs_and_top_ups_count_as_runs_of_the_day()
    {
        var outcome = House().At("06:00").Start(cause: "manual", mode: "manual").After(10).Stop().At("07:00").Start(cause: "top-up").After(10).Stop(cause: "top-up").Until("1d 00:00");
        Assert.Equal(2, Pump(outcome, 0).Starts);
        Assert.Equal([(PumpCause.Manual, true), (PumpCause.TopUp, false)], outcome.Runs.Select(r => (r.StartCause, r.Manual)));
    }

    [Fact]
    public void Dry_trips_are_counted()
    {
        var outcome = House().At("06:00").Start().After(1).Stop(cause: "dry-run").After(10).Start().After(1).Stop(cause: "sump-low").After(10).Start().After(1).Stop().Until("1d 00:00");
        Assert.Equal(2, Pump(outcome, 0).DryTrips);
    }

    [Fact]
    public void Energy_is_measured_or_of_the_rating_or_unknown()
    {
        Assert.Equal(0.746, Pump(House().At("06:00").Start().At("07:00").Stop().Until("1d 00:00"), 0).EnergyKwh!.Value.Value, 1e-9);
        Assert.Equal(0.5, Pump(House().At("06:00").Start(watts: 500).At("07:00").Stop().Until("1d 00:00"), 0).EnergyKwh!.Value.Value, 1e-9);
        var bare = Scenario.Of(Plans.Bore([300, 900])).At("00:00").Tank("roof", "10").Stop().At("06:00").Start().At("07:00").Stop().Until("2d 00:00");
        Assert.Null(Pump(bare, 0).EnergyKwh); // Unknown is null, never 0.
        Assert.Equal(0, Pump(bare, 1).EnergyKwh!.Value.Value); // No run, no energy: that is known.
    }

    [Fact]
    public void What_no_crossing_measured_was_delivered_in_unknown_litres()
    {
        var outcome = House().At("06:00").Start().At("07:00").Stop().Until("2d 00:00");
        Assert.Null(Pump(outcome, 0).DeliveredLitres);
        Assert.Null(outcome.Days[0].Tanks.Single().UsedLitres);
        Assert.Equal(0, Pump(outcome, 1).DeliveredLitres!.Value.Value);
        Assert.Null(Pump(outcome, 1).LitresPerMinute);
    }

    [Fact]
    public void Seconds_below_the_lowest_probe_are_split_at_midnight_and_end_with_what_is_known()
    {
        var outcome = House().At("22:00").Tank("roof", "100").At("23:00").Tank("roof", "000").At("1d 00:10").Tank("roof", "100").Until("2d 00:00");
        Assert.Equal([3600.0, 600.0], outcome.Days.Select(d => d.Tanks[0].SecondsBelowLowest!.Value));

        // The last word came at 06:00 and holds for 75 minutes.
        var silent = House().At("05:00").Tank("roof", "100").At("06:00").Tank("roof", "000").Silent().Until("2d 00:00");
        Assert.Equal(4500, silent.Days[0].Tanks[0].SecondsBelowLowest);
    }

    [Fact]
    public void A_day_without_a_word_of_a_tank_knows_nothing_of_it()
    {
        var outcome = House().At("06:00").Silent().Until("3d 00:00");
        Assert.Equal(0, outcome.Days[0].Tanks[0].SecondsBelowLowest);
        Assert.Null(outcome.Days[1].Tanks[0].SecondsBelowLowest);
        Assert.Null(outcome.Days[1].Tanks[0].UsedLitres);
    }

    [Fact]
    public void One_riser_for_two_tanks_does_not_tell_what_each_used()
    {
        var outcome = Scenario.Of(Plans.TwoOnOneRiser()).At("00:00").Tank("east", "110").Tank("west", "110").Stop().At("06:00").Start().At("06:20").Stop().Until("1d 00:00");
        Assert.Equal(["east", "west"], outcome.Days[0].Tanks.Select(t => t.Tank.Value));
        Assert.All(outcome.Days[0].Tanks, t => Assert.Null(t.UsedLitres));
    }

    [Theory]
    [InlineData("level", true)]
    [InlineData("unknown", false)]
    [InlineData("overload", false)]
    public void A_run_reaches_the_top_when_the_control_says_so(string cause, bool top) =>
        Assert.Equal(top, House().At("06:00").Start().At("06:20").Stop(cause: cause).Until("07:00").Runs.Single().ReachedTop);
}
