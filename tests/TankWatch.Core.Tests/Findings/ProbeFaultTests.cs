using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Findings;

public sealed class ProbeFaultTests
{
    private static readonly SitePlan Three = Plans.Bore([300, 600, 900]);
    private static readonly SitePlan Four = Plans.Bore([300, 600, 900, 1200]);

    public static TheoryData<string, bool> OrdersOfFour() => Orders(4, ["0000", "1000", "1100", "1110", "1111"]);
    public static TheoryData<string, bool> OrdersOfThree() => Orders(3, ["000", "100", "110", "111"]);

    /// <summary>CHECKS K, replay table [D]: of 16 combinations of four probes 5 are possible, and of 8 of three 4.</summary>
    private static TheoryData<string, bool> Orders(int probes, string[] possible)
    {
        var data = new TheoryData<string, bool>();
        foreach (var wet in Enumerable.Range(0, 1 << probes).Select(bits => string.Concat(Enumerable.Range(0, probes).Select(i => (bits >> i) & 1))))
        {
            data.Add(wet, possible.Contains(wet));
        }

        Assert.Equal(possible.Length, data.Count(row => row.Data.Item2));
        return data;
    }

    [Theory]
    [MemberData(nameof(OrdersOfFour))]
    public void Of_four_probes_a_wet_one_above_a_dry_one_is_a_fault(string wet, bool possible) => Judge(Four, wet, possible);

    [Theory]
    [MemberData(nameof(OrdersOfThree))]
    public void Of_three_probes_a_wet_one_above_a_dry_one_is_a_fault(string wet, bool possible) => Judge(Three, wet, possible);

    private static void Judge(SitePlan plan, string wet, bool possible)
    {
        var day = Scenario.Of(plan).At("06:00").Tank("roof", wet).Until("06:59");
        if (possible)
        {
            day.Never(FindingKind.ProbeFault);
        }
        else
        {
            Assert.Equal("06:01", day.Raised(FindingKind.ProbeFault));
            Assert.Equal("impossible-order", day.Cause(FindingKind.ProbeFault));
            Scenario.Of(plan).At("06:00").Tank("roof", wet).At("06:00:59").Tank("roof", new string('1', wet.Length)).Until("08:00").Never(FindingKind.ProbeFault);
        }
    }

    [Fact]
    public void It_clears_ten_minutes_after_the_order_is_right_again()
    {
        var day = Scenario.Of(Three).At("06:00").Tank("roof", "101").At("06:30").Tank("roof", "111").At("06:35").Tank("roof", "011").At("06:36").Tank("roof", "111").Until("08:00");
        Assert.Equal("06:46", day.Cleared(FindingKind.ProbeFault));
    }

    [Fact]
    public void A_probe_that_flickers_eight_times_in_ten_minutes_chatters()
    {
        Outcome Flicker(int changes, double seconds)
        {
            var day = Scenario.Of(Three).At("06:00").Tank("roof", "110");
            for (var i = 0; i < changes; i++)
            {
                day.After(seconds: seconds).Tank("roof", i % 2 == 0 ? "100" : "110");
            }

            return day.Until("08:00");
        }

        var day = Flicker(8, 30);
        Assert.Equal("06:04", day.Raised(FindingKind.ProbeFault));
        Assert.Equal("chattering-probe", day.Cause(FindingKind.ProbeFault));
        Assert.Contains("8 changes of m2 alone", day.Only(FindingKind.ProbeFault).Said().Evidence[0], StringComparison.Ordinal);
        Assert.Equal("06:44", day.Cleared(FindingKind.ProbeFault)); // Half an hour without a flicker, and ten minutes of hold.
        Flicker(7, 30).Never(FindingKind.ProbeFault);
        Flicker(40, 150).Never(FindingKind.ProbeFault); // Slow enough to be ripple that the probes live with.
    }

    [Fact]
    public void A_surface_that_goes_up_and_down_past_all_probes_is_no_chatter()
    {
        var day = Scenario.Of(Three).At("00:00").Tank("roof", "100").Stop();
        day.Times(20, d => d.After(1).Tank("roof", "000").Start().After(seconds: 2).Tank("roof", "100").After(1).Tank("roof", "110").After(1).Tank("roof", "111").Stop()
            .After(seconds: 27).Tank("roof", "110").After(1).Tank("roof", "100"));
        day.Until("06:00").Never(FindingKind.ProbeFault);
    }

    [Theory]
    [InlineData(true)] // Stuck dry.
    [InlineData(false)] // Stuck wet.
    public void A_probe_that_stays_while_the_water_goes_past_it_is_stuck(bool dry)
    {
        // The wrong order shows too briefly each time to be a finding of its own.
        var day = Scenario.Of(Three).At("00:00").Tank("roof", dry ? "100" : "110").Stop();
        day.Times(2, d =>
        {
            if (dry)
            {
                d.After(120).Tank("roof", "101").After(seconds: 20).Tank("roof", "100").After(60).Tank("roof", "000").After(seconds: 20).Tank("roof", "100");
            }
            else
            {
                d.After(120).Tank("roof", "010").After(seconds: 20).Tank("roof", "110").After(60).Tank("roof", "111").After(seconds: 20).Tank("roof", "110");
            }
        });
        var outcome = day.Until("12:00");
        Assert.Equal("stuck-probe", outcome.Cause(FindingKind.ProbeFault));
        Assert.Contains($"probe m2 stays {(dry ? "dry" : "wet")} while", outcome.Only(FindingKind.ProbeFault).Said().Summary, StringComparison.Ordinal);
    }

    [Fact]
    public void One_passage_past_a_silent_probe_is_not_enough() =>
        Scenario.Of(Three).At("00:00").Tank("roof", "110").After(120).Tank("roof", "111").After(60).Tank("roof", "110").After(60).Tank("roof", "010").After(seconds: 20).Tank("roof", "110")
            .Until("12:00").Never(FindingKind.ProbeFault);

    [Fact]
    public void A_cut_out_probe_that_stays_wet_for_months_is_no_fault()
    {
        // The other probes of the sump come and go twice a day.
        var day = Scenario.Of(Plans.House()).At("00:00").Tank("sump", "111").Tank("roof", "110").Stop();
        day.Times(180, d => d.After(300).Tank("sump", "110").After(120).Tank("sump", "100").After(180).Tank("sump", "110").After(120).Tank("sump", "111"));
        Assert.Empty(day.Until("91d 00:00").Findings);
    }

    [Fact]
    public void All_probes_dry_in_one_word_are_a_lost_common_electrode()
    {
        // CHECKS K3: all go dry at once, faster than any draw; common practice, no source.
        var day = Scenario.Of(Plans.House()).At("05:00").Tank("sump", "111").Tank("roof", "110").Stop().At("06:00").Tank("roof", "000").At("09:00").Tank("roof", "110").Until("10:00");
        Assert.Equal("06:01", day.Raised(FindingKind.ProbeFault));
        Assert.Equal("lost-common", day.Cause(FindingKind.ProbeFault));
        Assert.Equal("09:10", day.Cleared(FindingKind.ProbeFault));
        Assert.Equal([FindingKind.ProbeFault], day.Kinds); // Not an empty tank: neither running-out nor no-start.
    }

    [Fact]
    public void A_tank_that_drains_probe_by_probe_has_not_lost_it() =>
        Scenario.Of(Four).At("05:00").Tank("roof", "1100").Stop().At("06:00").Tank("roof", "1000").At("06:00:40").Tank("roof", "0000").Until("10:00").Never(FindingKind.ProbeFault);

    [Theory]
    [InlineData(2, true)] // No draw does that.
    [InlineData(25, false)]
    public void With_a_word_lost_between_the_speed_of_the_fall_decides(double minutes, bool lost)
    {
        // Faster than the whole tank in ten minutes: 2400 L in 2 min against 2000; in 25 min against 25,000.
        var plan = Plans.Bore([300, 1500, 2700], capacity: 10_000);
        var day = Scenario.Of(plan).At("06:00").Tank("roof", "111").Lost().After(minutes).Tank("roof", "000").Until("06:59");
        Assert.Equal(lost, day.Kinds.Contains(FindingKind.ProbeFault));
    }

    [Fact]
    public void One_probe_is_never_out_of_order_and_eight_are_read_in_order()
    {
        Scenario.Of(Plans.Bore([300])).At("05:00").Tank("roof", "1").At("06:00").Tank("roof", "0").At("07:00").Tank("roof", "1").Until("09:00").Never(FindingKind.ProbeFault);
        var eight = Plans.Bore([100, 200, 300, 400, 500, 600, 700, 800]);
        Scenario.Of(eight).At("05:00").Tank("roof", "11111110").At("06:00").Tank("roof", "11111111").Until("09:00").Never(FindingKind.ProbeFault);
        Assert.Equal("06:01", Scenario.Of(eight).At("05:00").Tank("roof", "11111110").At("06:00").Tank("roof", "01111110").Until("06:30").Raised(FindingKind.ProbeFault));
    }
}
