using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Findings;

public sealed class ShortCyclingTests
{
    private static Scenario StartsAt(SitePlan plan, IEnumerable<double> minutes, double runSeconds = 240, string cause = "level", string mode = "auto")
    {
        var day = Scenario.Of(plan).At("05:00").Tank("roof", plan.Tanks[^1].Probes.Length == 3 ? "110" : "10").Stop();
        foreach (var minute in minutes)
        {
            day.At(Scenario.Clock(Scenario.TimeOf("06:00").AddMinutes(minute))).Start(cause: cause, mode: mode).After(seconds: runSeconds).Stop(mode: mode);
        }

        return day;
    }

    [Fact]
    public void Seven_starts_in_the_hour_ending_at_59_are_too_many_for_six()
    {
        // CHECKS C5 [D]: 0, 10, 20, 30, 40, 50, 59 min give 7 in the hour ending at 59 min. Six an hour: common practice, no source.
        var day = StartsAt(Plans.House(), [0, 10, 20, 30, 40, 50, 59]).Until("07:30");
        Assert.Equal("06:59", day.Raised(FindingKind.ShortCycling));
        Assert.Equal("06:00", day.Since(FindingKind.ShortCycling));
        Assert.Contains("7 automatic starts", day.Only(FindingKind.ShortCycling).Said().Evidence[0], StringComparison.Ordinal);
    }

    [Fact]
    public void The_start_that_is_sixty_minutes_old_no_longer_counts() =>
        StartsAt(Plans.House(), [0, 10, 20, 30, 40, 50, 60, 70, 80]).Until("09:00").Never(FindingKind.ShortCycling);

    [Fact]
    public void The_hour_slides_and_does_not_follow_the_clock()
    {
        // CHECKS C5 [D]: starts at :50 :55 :05 :10 are two and two by the clock, and four in a sliding hour.
        var day = StartsAt(Plans.House(""", "maxStartsPerHour": 3"""), [50, 55, 65, 70]).Until("08:00");
        Assert.Equal("07:10", day.Raised(FindingKind.ShortCycling));
        StartsAt(Plans.House(""", "maxStartsPerHour": 4"""), [50, 55, 65, 70]).Until("08:00").Never(FindingKind.ShortCycling);
    }

    [Fact]
    public void It_clears_an_hour_after_the_starts_fell_to_three_quarters_of_the_limit()
    {
        // Left in the hour: 4 of 6 at 07:20, which is below 4.5; an hour of hold follows.
        var day = StartsAt(Plans.House(), [0, 10, 20, 30, 40, 50, 59]).Until("12:00");
        Assert.Equal("08:20", day.Cleared(FindingKind.ShortCycling));
    }

    [Fact]
    public void Five_starts_an_hour_are_between_the_thresholds_and_keep_it_open()
    {
        var busy = new double[] { 0, 10, 20, 30, 40, 50, 59 }.Concat(Enumerable.Range(0, 30).Select(i => 70.0 + (12 * i)));
        var day = StartsAt(Plans.House(), busy).Until("13:10");
        Assert.Null(day.Cleared(FindingKind.ShortCycling));
        StartsAt(Plans.House(), busy.Skip(7)).Until("13:10").Never(FindingKind.ShortCycling);
    }

    [Fact]
    public void Manual_runs_are_never_a_short_cycle() => // CHECKS K5: common practice, no source.
        StartsAt(Plans.House(), Enumerable.Range(0, 20).Select(i => 3.0 * i), 30, "manual", "manual").Until("08:00").Never(FindingKind.ShortCycling);

    [Fact]
    public void Top_ups_are_never_a_short_cycle() => // CHECKS K6: common practice, no source.
        StartsAt(Plans.House(), Enumerable.Range(0, 20).Select(i => 3.0 * i), 30, "top-up").Until("08:00").Never(FindingKind.ShortCycling);

    [Theory]
    [InlineData(80, "07:41:20")] // The sixth run ends.
    [InlineData(89, "07:41:29")]
    [InlineData(90, null)] // What the motor needs is enough.
    [InlineData(100, null)]
    public void Six_runs_to_the_top_with_a_median_below_the_motors_least_are_short(int seconds, string? raised)
    {
        // 90 s: common practice, no source.
        var day = StartsAt(Plans.House(), Enumerable.Range(0, 6).Select(i => 20.0 * i), seconds).Until("08:00");
        Assert.Equal(raised, day.Findings.Where(f => f.Kind == FindingKind.ShortCycling).Select(f => Scenario.Clock(f.RaisedAt)).SingleOrDefault());
        StartsAt(Plans.House(), Enumerable.Range(0, 5).Select(i => 20.0 * i), seconds).Until("08:00").Never(FindingKind.ShortCycling);
    }

    [Theory]
    [InlineData(110, false)] // Above the least, below 4/3 of it: still between.
    [InlineData(130, true)]
    public void Short_runs_clear_only_above_four_thirds_of_the_least(int seconds, bool clears)
    {
        var day = StartsAt(Plans.House(), Enumerable.Range(0, 6).Select(i => 20.0 * i), 60);
        day.Times(7, d => d.After(18).Start().After(seconds: seconds).Stop());
        Assert.Equal(clears, day.Until("14:00").Cleared(FindingKind.ShortCycling) is not null);
    }

    [Fact]
    public void Runs_that_the_sump_cut_short_say_nothing_of_the_probes_at_the_top()
    {
        var day = Scenario.Of(Plans.House()).At("05:00").Tank("roof", "110").Tank("sump", "111").Stop();
        day.Times(6, d => d.After(20).Start().After(1).Stop(cause: "sump-low")).Until("09:00").Never(FindingKind.ShortCycling);
    }

    [Theory] // CHECKS C1 [M, wet-well design texts]: V L, Qp L/min, most starts an hour Qp/(4V).
    [InlineData(300, 60, "3")]
    [InlineData(200, 40, "3")]
    [InlineData(500, 50, "1.5")]
    [InlineData(1000, 60, "0.9")]
    [InlineData(100, 50, "7.5")]
    public void The_evidence_tells_what_water_alone_could_cause(double band, double delivery, string most)
    {
        var plan = Plans.Bore([500, 500 + band], $", \"ratedLitresPerMinute\": {Plans.Text(delivery)}");
        var day = Starts(plan, 7).Until("07:00");
        Assert.Contains(day.Only(FindingKind.ShortCycling).Said().Evidence, e => e.EndsWith($"at most {most} times an hour.", StringComparison.Ordinal));
    }

    [Theory] // CHECKS C1 [M]: 60 L are one start in 4 min at 60 L/min; 150 L are 6 an hour; 300 L are 3.
    [InlineData(60, 7, "probes-too-close")] // Water may cause 15 an hour: the band is too narrow for the motor.
    [InlineData(150, 7, "probes-too-close")]
    [InlineData(300, 7, "chattering-probe")] // Water can cause 3, and a sliding hour may hold one more: 7 are the control's doing.
    [InlineData(60, 20, "chattering-probe")]
    public void What_water_could_cause_tells_narrow_probes_from_a_lying_one(double band, int starts, string cause)
    {
        var plan = Plans.Bore([500, 500 + band], """, "ratedLitresPerMinute": 60, "minRunSeconds": 10""");
        Assert.Equal(cause, Starts(plan, starts).Until("06:59").Cause(FindingKind.ShortCycling));
    }

    /// <summary>So many starts within an hour, the motor standing one less.</summary>
    private static Scenario Starts(SitePlan plan, int count)
    {
        var limited = plan with { Pumps = [plan.Pumps[0] with { MaxStartsPerHour = count - 1 }] };
        return StartsAt(limited, Enumerable.Range(0, count).Select(i => i * 55.0 / count), 96);
    }

    [Fact]
    public void Runs_cut_short_by_the_voltage_point_to_the_supply()
    {
        var day = Scenario.Of(Plans.House()).At("06:00").Tank("roof", "110").Stop();
        var outcome = day.Times(7, d => d.After(5).Start().After(1).Stop(cause: "under-voltage")).Until("08:00");
        Assert.Equal("supply", outcome.Cause(FindingKind.ShortCycling));
    }

    [Theory] // CHECKS C1 [D]: V 300 L, Qp 60 L/min; T(Qd) = V/(Qp - Qd) + V/Qd in minutes.
    [InlineData(5, 65.45)]
    [InlineData(15, 26.67)]
    [InlineData(30, 20.00)]
    [InlineData(45, 26.67)]
    [InlineData(55, 65.45)]
    public void No_steady_use_of_water_starts_a_pump_more_often_than_the_water_limit(double use, double cycleMinutes)
    {
        var plan = Plans.Bore([500, 800], """, "ratedLitresPerMinute": 60, "maxStartsPerHour": 3""");
        var (fill, drain) = (300 / (60 - use), 300 / use);
        Assert.Equal(cycleMinutes, fill + drain, 0.005);
        var day = Scenario.Of(plan).At("00:00").Tank("roof", "10").Stop();
        while (day.Observations[^1].Stamp.At < Scenario.TimeOf("1d 02:00"))
        {
            day.Tank("roof", "00").Start().After(seconds: 1).Tank("roof", "10").After(fill).Tank("roof", "11").Stop()
                .After(seconds: 1).Tank("roof", "10").After(drain);
        }

        var outcome = day.Until("1d 06:00");
        outcome.Never(FindingKind.ShortCycling);
        Assert.Equal(1440 / cycleMinutes, outcome.Days[0].Pumps[0].Starts, 1.5);
    }
}
