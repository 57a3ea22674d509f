using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Findings;

/// <summary>Runs that do not end as they should: run-too-long, overflow-risk, control-fault, left-in-manual.</summary>
public sealed class RunningOnTests
{
    private static Scenario Filling(string pump = "") =>
        Scenario.Of(Plans.House(pump)).At("05:00").Tank("sump", "111").Tank("roof", "100").Stop().At("06:00").Tank("roof", "000").Start().After(seconds: 2).Tank("roof", "100");

    [Fact]
    public void A_run_past_the_slowest_fill_that_the_rating_allows_is_too_long()
    {
        // 1.5 × 5800 L at 40 % of 80 L/min (CHECKS M, common practice, no source) are 271.9 min; minutes are whole.
        var day = Filling().Until("12:00");
        Assert.Equal("10:32", day.Raised(FindingKind.RunTooLong));
        Filling().At("10:31").Stop().Until("12:00").Never(FindingKind.RunTooLong);
    }

    [Fact]
    public void Numbers_out_of_all_proportion_make_a_rule_wait_a_month_and_no_longer()
    {
        // A file may say them: 10^9 litres at 10^-9 litres per minute would take longer than a TimeSpan holds.
        var day = Scenario.Of(Plans.Bore([5e8, 9e8], ", \"ratedLitresPerMinute\": 1e-9", capacity: 1e9))
            .At("06:00").Tank("roof", "00").Stop().After(1).Start().Until("31d 00:00");
        Assert.Equal(["30d 06:01", "30d 06:11"], [day.Raised(FindingKind.RunTooLong), day.Raised(FindingKind.RunningOut)]);
    }

    [Fact]
    public void It_clears_as_the_pump_stops() =>
        Assert.Equal("11:00", Filling().At("11:00").Stop().Until("12:00").Cleared(FindingKind.RunTooLong));

    [Fact]
    public void Once_five_runs_are_known_the_pumps_own_normal_is_the_measure()
    {
        // Normal 30 min for a band of 4300 L: three times that is 90 min, more than 1.5 × 30 × 5800 / 4300 = 61 min.
        var day = Filling().At("06:30").Tank("roof", "110").Tank("roof", "111").Stop();
        day.Times(5, d => d.After(100).Tank("roof", "110").Tank("roof", "100").After(20).Tank("roof", "000").Start().After(seconds: 1).Tank("roof", "100")
            .After(30).Tank("roof", "110").After(seconds: 1).Tank("roof", "111").Stop());
        day.At("20:00").Tank("roof", "110").Tank("roof", "100").Tank("roof", "000").Start();
        var outcome = day.Until("23:00");
        Assert.Equal("21:31", outcome.Raised(FindingKind.RunTooLong)); // The median run lasted 30 min and 2 s: 90 min 6 s, whole minutes.
        Assert.Contains("own normal run lasts 30 minutes", outcome.Only(FindingKind.RunTooLong).Said().Evidence[1], StringComparison.Ordinal);
    }

    [Fact]
    public void Without_rating_and_without_a_normal_nothing_is_said_of_the_length() =>
        Scenario.Of(Plans.Bore([500, 900])).At("06:00").Tank("roof", "00").Stop().After(1).Start().Until("23:00").Never(FindingKind.RunTooLong);

    [Fact]
    public void Running_on_after_the_top_probe_is_wet_is_an_overflow_risk_after_a_minute()
    {
        var day = Filling().At("07:00").Tank("roof", "110").At("07:30").Tank("roof", "111").At("07:45").Stop().Until("09:00");
        Assert.Equal("07:31", day.Raised(FindingKind.OverflowRisk));
        Assert.Equal("07:30", day.Since(FindingKind.OverflowRisk));
        Assert.Equal("07:46", day.Cleared(FindingKind.OverflowRisk));
        Assert.Equal(Priority.Critical, day.Only(FindingKind.OverflowRisk).Priority);
    }

    [Fact]
    public void A_stop_within_the_minute_is_none() =>
        Assert.Empty(Filling().At("07:00").Tank("roof", "110").At("07:30").Tank("roof", "111").At("07:30:59").Stop().Until("09:00").Findings);

    [Fact]
    public void A_manual_run_past_the_top_risks_an_overflow_but_is_not_the_controls_fault()
    {
        // CHECKS K5: manual bypasses all protection; common practice, no source.
        var day = Scenario.Of(Plans.House()).At("06:00").Tank("sump", "111").Tank("roof", "111").Stop()
            .At("07:00").Start(cause: "manual", mode: "manual").At("07:20").Stop(cause: "manual").Until("08:00");
        Assert.Equal("07:01", day.Raised(FindingKind.OverflowRisk));
        day.Never(FindingKind.ControlFault);
    }

    [Fact]
    public void With_two_tanks_on_a_riser_the_pump_may_run_until_both_are_full()
    {
        var day = Scenario.Of(Plans.TwoOnOneRiser()).At("06:00").Tank("east", "000").Tank("west", "100").Stop().After(seconds: 5).Start()
            .At("06:10").Tank("east", "100").At("06:40").Tank("west", "110").At("06:50").Tank("west", "111").At("07:00").Tank("east", "110");
        day.At("07:40").Tank("east", "111").At("07:50").Stop();
        var outcome = day.Until("09:00");
        Assert.Equal("07:41", outcome.Raised(FindingKind.OverflowRisk));
        Assert.Contains("east and west are full", outcome.Only(FindingKind.OverflowRisk).Said().Summary, StringComparison.Ordinal);
        Assert.Equal("07:42", outcome.Raised(FindingKind.ControlFault));

        Scenario.Of(Plans.TwoOnOneRiser()).At("06:00").Tank("east", "000").Tank("west", "111").Stop().After(seconds: 5).Start()
            .At("06:10").Tank("east", "100").At("07:00").Tank("east", "110").At("07:40").Tank("east", "111").After(seconds: 1).Stop().Until("09:00")
            .Never(FindingKind.OverflowRisk);
    }

    [Fact]
    public void No_stop_at_the_top_in_automatic_mode_is_a_control_fault_after_two_minutes()
    {
        var day = Filling().At("07:00").Tank("roof", "110").At("07:30").Tank("roof", "111").At("08:00").Stop().Until("09:00");
        Assert.Equal("07:32", day.Raised(FindingKind.ControlFault));
        Assert.Equal("08:10", day.Cleared(FindingKind.ControlFault)); // Ten minutes after it stopped.
        Assert.Contains("did not stop when the tank was full", day.Only(FindingKind.ControlFault).Said().Summary, StringComparison.Ordinal);
    }

    [Fact]
    public void No_stop_at_the_cut_out_is_a_control_fault_after_two_minutes()
    {
        var day = Filling().At("06:20").Tank("sump", "110").At("06:40").Tank("sump", "100").At("07:00").Tank("sump", "000");
        var outcome = day.At("07:30").Stop(cause: "sump-low").Until("08:00");
        Assert.Equal("07:02", outcome.Raised(FindingKind.ControlFault));
        Assert.Contains("did not stop when the sump reached its cut-out", outcome.Only(FindingKind.ControlFault).Said().Summary, StringComparison.Ordinal);
        Filling().At("06:20").Tank("sump", "110").At("06:40").Tank("sump", "100").At("07:00").Tank("sump", "000").At("07:01:59").Stop(cause: "sump-low")
            .Until("08:00").Never(FindingKind.ControlFault);
    }

    [Fact]
    public void The_earlier_of_two_faults_sets_the_time()
    {
        // Dry at 07:00; full a minute and a half later: the cut-out's two minutes end first.
        var day = Filling().At("06:20").Tank("sump", "110").At("06:40").Tank("sump", "100").At("06:50").Tank("roof", "110")
            .At("07:00").Tank("sump", "000").At("07:01:30").Tank("roof", "111").Until("08:00");
        Assert.Equal("07:02", day.Raised(FindingKind.ControlFault));
    }

    [Fact]
    public void Where_the_sump_has_no_probes_a_start_after_a_cut_out_is_no_fault_and_ends_it()
    {
        var day = Scenario.Of(Plans.Bore([500, 1000, 1800])).At("06:00").Tank("roof", "100").Start().At("06:10").Stop(cause: "sump-low")
            .At("07:40").Start().At("08:00").Tank("roof", "111").Stop().At("10:00").Tank("roof", "110").At("11:00").Tank("roof", "100").At("12:00").Tank("roof", "000").Until("13:00");
        day.Never(FindingKind.ControlFault);
        Assert.Equal("12:15", day.Raised(FindingKind.NoStart)); // It had run since: its protection does not explain this rest.
    }

    [Fact]
    public void A_start_after_a_cut_out_must_wait_for_the_restart_probe()
    {
        // CHECKS K2: restart only when the sump is back at its next probe; common practice, no source.
        Scenario CutOut() => Filling().At("06:20").Tank("sump", "110").At("06:40").Tank("sump", "100").At("07:00").Tank("sump", "000").Stop(cause: "sump-low")
            .At("07:30").Tank("sump", "100");
        var early = CutOut().At("07:40").Start().At("08:00").Stop(cause: "sump-low").Until("1d 12:00");
        Assert.Equal("07:40", early.Raised(FindingKind.ControlFault));
        Assert.Equal("1d 07:50", early.Cleared(FindingKind.ControlFault)); // An event is told of for a day, then the hold of ten minutes.
        CutOut().At("07:40").Tank("sump", "110").Start().At("08:00").Stop().Until("12:00").Never(FindingKind.ControlFault);
        CutOut().At("07:40").Start(cause: "manual", mode: "manual").At("08:00").Stop().Until("12:00").Never(FindingKind.ControlFault);
    }

    [Fact]
    public void Manual_mode_is_told_of_after_half_an_hour_running_and_eight_hours_at_rest()
    {
        var running = Scenario.Of(Plans.House()).At("06:00").Tank("sump", "111").Tank("roof", "100").Start(cause: "manual", mode: "manual").Until("07:00");
        Assert.Equal("06:30", running.Raised(FindingKind.LeftInManual));
        Scenario.Of(Plans.House()).At("06:00").Tank("roof", "100").Start(cause: "manual", mode: "manual").At("06:29").Stop(cause: "manual").Until("12:00")
            .Never(FindingKind.LeftInManual);
        var resting = Scenario.Of(Plans.House()).At("06:00").Tank("roof", "100").Stop(cause: "manual", mode: "manual").At("15:00").Stop(mode: "auto").Until("16:00");
        Assert.Equal("14:00", resting.Raised(FindingKind.LeftInManual));
        Assert.Equal("15:00", resting.Cleared(FindingKind.LeftInManual));
        Assert.Equal("06:00", resting.Since(FindingKind.LeftInManual));
    }
}
