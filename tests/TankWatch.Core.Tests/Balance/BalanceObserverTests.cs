using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>Which crossings make a passage: only those whose time is known, with all that flowed between them known too.</summary>
public sealed class BalanceObserverTests
{
    private static readonly SitePlan Plan = Plans.House();

    /// <summary>A tank that was seen to pass its high probe on the way down at 08:00.</summary>
    private static Scenario Falling() => Scenario.Of(Plan).At("07:00").Tank("sump", "111").Tank("roof", "111").Stop().At("08:00").Tank("roof", "110");

    private static ImmutableArray<Passage> Passages(Scenario day, string until) => Balance(day, until)?.First ?? [];

    private static TankBalance? Balance(Scenario day, string until) => day.Until(until).State.Timeline.Tanks[Plan.FindTank("roof")!.Index].Balance;

    [Fact]
    public void From_probe_to_probe_is_a_passage()
    {
        var passage = Assert.Single(Passages(Falling().At("11:00").Tank("roof", "100"), "11:10"));
        Assert.Equal((2, 1, true, true), (passage.From, passage.To, passage.FromFalling, passage.ToFalling));
        Assert.Equal((3.0, 0.0), (passage.Hours, passage.OnHours));
    }

    [Fact]
    public void Inflow_counts_from_start_to_stop()
    {
        var passage = Assert.Single(Passages(Falling().At("09:00").Start().At("09:06").Stop().At("11:00").Tank("roof", "100"), "11:10"));
        Assert.Equal(0.1, passage.OnHours, 1e-9);
    }

    [Fact]
    public void A_crossing_after_a_silence_has_no_time_and_the_next_passage_begins_after_it()
    {
        var day = Falling().Silent().At("11:00").Tank("roof", "100");
        Assert.Empty(Passages(day, "11:10"));

        day = Falling().Silent().At("11:00").Tank("roof", "100").Stop().At("12:00").Tank("roof", "100").Stop().At("12:30").Tank("roof", "000").At("12:40").Tank("roof", "000");
        Assert.Empty(Passages(day, "12:50"));
        Assert.Equal(0, Balance(day, "12:50")!.Anchor.Probe);
    }

    [Fact]
    public void A_lost_common_electrode_is_no_empty_tank()
    {
        // All probes dry at once, of both tanks: CHECKS K, common practice.
        var day = Falling().At("09:00").Tank("roof", "000").Tank("sump", "000").At("09:20").Tank("roof", "110").Tank("sump", "111").At("11:00").Tank("roof", "100");
        Assert.DoesNotContain(Passages(day, "11:10"), p => p.Hours < 1);
    }

    [Fact]
    public void Two_probes_at_once_are_no_passage()
    {
        var day = Falling().At("11:00").Tank("roof", "000");
        Assert.Empty(Passages(day, "11:10"));
        Assert.Equal(-1, Balance(day, "11:10")!.Anchor.Probe);
    }

    [Fact]
    public void A_probe_wet_above_a_dry_one_tells_nothing_until_order_is_back()
    {
        var day = Falling().At("10:00").Tank("roof", "010").At("10:30").Tank("roof", "110").At("11:00").Tank("roof", "100").At("13:00").Tank("roof", "000");
        var passage = Assert.Single(Passages(day, "13:10"));
        Assert.Equal(2.0, passage.Hours);
    }

    [Fact]
    public void Ripples_within_half_an_hour_are_one_crossing()
    {
        var day = Falling().Times(5, d => d.After(minutes: 2).Tank("roof", "111").After(minutes: 2).Tank("roof", "110")).At("11:00").Tank("roof", "100");
        var passage = Assert.Single(Passages(day, "11:10"));
        Assert.Equal(3.0, passage.Hours);
    }

    [Fact]
    public void A_run_on_past_the_top_fills_the_overflow_and_teaches_nothing()
    {
        Scenario Filling() => Scenario.Of(Plan).At("07:00").Tank("sump", "111").Tank("roof", "110").Start().At("07:30").Tank("roof", "111");
        Assert.Empty(Passages(Filling().At("07:34").Stop().At("09:00").Tank("roof", "110"), "09:10"));
        Assert.Single(Passages(Filling().At("07:32").Stop().At("09:00").Tank("roof", "110"), "09:10"));
    }

    [Fact]
    public void Hours_below_the_lowest_probe_are_counted_while_no_pump_fills()
    {
        var day = Falling().At("11:00").Tank("roof", "100").At("14:00").Tank("roof", "000").At("20:00").Start();
        Assert.Equal(6, Balance(day, "20:20")!.Anchor.DryHours, 1e-9);
        Assert.Equal(0, Balance(Falling().At("11:00").Tank("roof", "100"), "12:00")!.Anchor.DryHours);
    }

    [Fact]
    public void A_pump_that_was_not_heard_of_leaves_all_open()
    {
        var day = Scenario.Of(Plan).At("07:00").Tank("sump", "111").Tank("roof", "111").At("08:00").Tank("roof", "110").At("11:00").Tank("roof", "100");
        Assert.Empty(Passages(day, "11:10"));
    }
}
