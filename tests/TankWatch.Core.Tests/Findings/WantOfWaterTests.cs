using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Findings;

/// <summary>no-start, running-out, low-supply.</summary>
public sealed class WantOfWaterTests
{
    private static Scenario Calls(string sump = "111", string roof = "000") =>
        Scenario.Of(Plans.House()).At("05:00").Tank("sump", sump).Tank("roof", "100").Stop().At("06:00").Tank("roof", roof);

    [Fact]
    public void A_tank_that_calls_with_water_in_the_sump_and_no_run_is_a_no_start_after_five_minutes()
    {
        var day = Calls().At("06:30").Start().Until("07:00");
        Assert.Equal("06:05", day.Raised(FindingKind.NoStart));
        Assert.Equal("06:00", day.Since(FindingKind.NoStart));
        Assert.Equal("06:31", day.Cleared(FindingKind.NoStart));
    }

    [Fact]
    public void A_start_within_five_minutes_is_none() => Calls().At("06:04").Start().Until("07:00").Never(FindingKind.NoStart);

    [Theory]
    [InlineData("100")] // Below its restart probe a control may wait.
    [InlineData("000")]
    public void A_sump_without_water_to_draw_explains_the_rest(string sump) => Calls(sump).Until("09:00").Never(FindingKind.NoStart);

    [Theory]
    [InlineData("under-voltage")]
    [InlineData("over-voltage")]
    [InlineData("overload")]
    [InlineData("dry-run")]
    [InlineData("power")]
    public void A_protection_that_holds_the_pump_explains_the_rest(string cause) =>
        Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").Tank("roof", "000").Stop().After(1).Start().At("05:10").Stop(cause: cause).Until("09:00")
            .Never(FindingKind.NoStart);

    [Fact]
    public void Manual_mode_and_a_power_cut_explain_the_rest()
    {
        Calls().Stop(mode: "manual").Until("09:00").Never(FindingKind.NoStart);
        Calls().Mains(false).Until("09:00").Never(FindingKind.NoStart);
    }

    [Fact]
    public void Where_nobody_measures_the_sump_ten_minutes_more_pass()
    {
        var day = Scenario.Of(Plans.Bore([500, 900])).At("05:00").Tank("roof", "10").Stop().At("06:00").Tank("roof", "00").Until("07:00");
        Assert.Equal("06:15", day.Raised(FindingKind.NoStart));
    }

    [Fact]
    public void An_empty_tank_that_nothing_fills_is_running_out_after_five_minutes()
    {
        var day = Calls().At("06:30").Start().At("06:50").Tank("roof", "100").Until("08:00");
        Assert.Equal("06:05", day.Raised(FindingKind.RunningOut));
        Assert.Equal("06:51", day.Cleared(FindingKind.RunningOut)); // Wet again, held a minute.
        Assert.Equal(Priority.Critical, day.Only(FindingKind.RunningOut).Priority);
    }

    [Fact]
    public void A_pump_that_fills_it_in_time_is_no_running_out() =>
        Calls().At("06:03").Start().At("06:30").Tank("roof", "100").Until("07:00").Never(FindingKind.RunningOut);

    [Fact]
    public void A_run_that_breaks_off_before_water_came_begins_the_wait_anew()
    {
        var day = Calls().At("06:02").Start().At("06:20").Stop(cause: "overload").Until("07:00");
        Assert.Equal(("06:20", "06:25"), (day.Since(FindingKind.RunningOut), day.Raised(FindingKind.RunningOut)));
    }

    [Fact]
    public void Above_the_lowest_probe_nothing_runs_out() => Calls(roof: "100").Until("12:00").Never(FindingKind.RunningOut);

    [Theory]
    [InlineData("under-voltage", "the voltage stopped pump p1")]
    [InlineData("overload", "overload stopped pump p1")]
    [InlineData("dry-run", "pump p1 was stopped because no water came")]
    [InlineData("power", "pump p1 lost its power")]
    [InlineData("sump-low", "the sump is empty")]
    [InlineData("level", "pump p1 does not run")]
    public void The_reason_is_given_as_the_pump_told_it(string cause, string reason)
    {
        var day = Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").Tank("roof", "000").Stop().After(1).Start().At("05:20").Stop(cause: cause).Until("07:00");
        Assert.EndsWith($"{reason}.", day.Only(FindingKind.RunningOut).Said().Summary, StringComparison.Ordinal);
    }

    [Fact]
    public void The_reason_may_be_the_mains_the_mode_or_the_sump()
    {
        string Reason(Scenario day) => day.Until("07:00").Only(FindingKind.RunningOut).Said().Summary;
        Assert.Contains("the mains are off", Reason(Calls().Mains(false)), StringComparison.Ordinal);
        Assert.Contains("is in manual mode and switched off", Reason(Calls().Stop(mode: "manual")), StringComparison.Ordinal);
        Assert.Contains("the sump is below its restart probe", Reason(Calls("100")), StringComparison.Ordinal);
        Assert.Contains("the sump is empty", Reason(Calls("000")), StringComparison.Ordinal);
        Assert.Contains("nothing is known of pump p1", Reason(Scenario.Of(Plans.House()).At("05:00").Tank("sump", "111").Tank("roof", "000")), StringComparison.Ordinal);
    }

    [Fact]
    public void A_pump_that_runs_while_no_water_arrives_does_not_fill_the_tank()
    {
        // Twice 1500 L at 40 % of 80 L/min (CHECKS M, common practice, no source) and five minutes: 98 min 45 s; then five minutes of hold.
        var day = Calls().Start().Until("09:00");
        Assert.Equal("07:44", day.Raised(FindingKind.RunningOut));
        Assert.Contains("runs but no water arrives", day.Only(FindingKind.RunningOut).Said().Summary, StringComparison.Ordinal);
    }

    [Fact]
    public void A_fire_reserve_is_no_water_to_use()
    {
        var plan = Plans.House();
        var reserved = plan with { Tanks = [plan.Tanks[0], plan.Tanks[1] with { FireReserve = new(1500) }] };
        var day = Scenario.Of(reserved).At("05:00").Tank("sump", "111").Tank("roof", "100").Stop().At("06:00").Tank("roof", "000").Until("07:00");
        Assert.Contains("Nothing above the fire reserve is left", day.Only(FindingKind.RunningOut).Said().Evidence[1], StringComparison.Ordinal);
    }

    [Fact]
    public void A_sump_below_its_cut_out_for_half_an_hour_is_low_supply()
    {
        var day = Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").At("06:00").Tank("sump", "100").At("08:00").Tank("sump", "000")
            .At("10:00").Tank("sump", "100").At("11:00").Tank("sump", "110").Until("12:00");
        Assert.Equal("08:30", day.Raised(FindingKind.LowSupply));
        Assert.Equal("06:00", day.Since(FindingKind.LowSupply));
        Assert.Equal("11:05", day.Cleared(FindingKind.LowSupply)); // The restart probe wet, held five minutes; the cut-out probe alone is not enough.
    }

    [Fact]
    public void A_sump_empty_for_less_or_low_for_less_than_twelve_hours_is_none()
    {
        Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").At("06:00").Tank("sump", "100").At("08:00").Tank("sump", "000").At("08:29").Tank("sump", "100")
            .At("17:59").Tank("sump", "110").Until("1d 12:00").Never(FindingKind.LowSupply);
        var low = Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").At("06:00").Tank("sump", "100").Until("1d 00:00");
        Assert.Equal("18:00", low.Raised(FindingKind.LowSupply));
    }

    [Fact]
    public void A_sump_without_probes_is_never_judged()
    {
        var plan = Plans.Of("""
            { "id": "s", "name": "S", "timeZone": "Etc/UTC",
              "tanks": [ { "id": "sump", "role": "sump", "capacityLitres": 5000 },
                { "id": "roof", "role": "overhead", "capacityLitres": 1000, "probes": [ { "name": "low", "volumeLitres": 300 } ] } ],
              "pumps": [ { "id": "p1", "from": "sump", "to": ["roof"], "ratedLitresPerMinute": 40 } ],
              "units": [ { "id": "u1", "reports": ["roof", "p1"] } ] }
            """);
        var day = Scenario.Of(plan).At("05:00").Tank("roof", "1").Stop().At("06:00").Tank("roof", "0").Until("07:00");
        Assert.Equal("06:15", day.Raised(FindingKind.NoStart));
        Assert.Equal("06:05", day.Raised(FindingKind.RunningOut));
        Assert.Equal(2, day.Findings.Length);
    }
}
