using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>What single runs delivered, from what all passages tell. [D] on steady water: 3000 L/h against 135 L/h.</summary>
public sealed class RunBalanceTests
{
    private static readonly Outcome Lived = SteadyWater.Lived("6d 00:00", _ => 135, _ => 3000);

    [Fact]
    public void Each_run_gets_its_litres_by_its_minutes_once_enough_was_seen()
    {
        var runs = Lived.Runs.Where(r => r.Flow is not null && r.StoppedAt is not null && r.StartedAt > Scenario.Midnight.AddDays(2)).ToList();
        Assert.True(runs.Count > 10);
        Assert.All(runs, run => Assert.Equal(50, run.Delivery!.Value.Value, 0.6));
        Assert.All(runs, run => Assert.Equal(run.Delivery!.Value.Value * run.Duration!.Value.TotalMinutes, run.Delivered!.Value.Value, 1e-6));
        Assert.All(runs, run => Assert.InRange(50, run.Delivery!.Value.Low, run.Delivery.Value.High));
    }

    [Fact]
    public void What_runs_share_stays_and_what_is_their_own_is_added_in_squares()
    {
        var run = Lived.Runs.Last(r => r.Flow is not null);
        var (flow, delivery) = (run.Flow!.Value, run.Delivery!.Value);
        var (common, own) = (flow.Common.High - flow.Common.Value, 1.645 * flow.Own);
        Assert.True(common > 0 && own > 0);
        Assert.Equal(Math.Sqrt((common * common) + (own * own)), delivery.High - delivery.Value, 0.01 * common);
    }

    [Fact]
    public void Days_of_many_runs_are_known_better_than_one_run_and_no_better_than_what_they_share()
    {
        var day = Lived.Days.Last(d => d.Complete && d.Pumps[0].Starts > 2);
        var (rate, run) = (day.Pumps[0].LitresPerMinute!.Value, Lived.Runs.Last(r => r.Flow is not null));
        Assert.InRange(rate.High - rate.Low, 0.9 * (run.Flow!.Value.Common.High - run.Flow.Value.Common.Low), run.Delivery!.Value.High - run.Delivery.Value.Low);
    }

    [Fact]
    public void Of_two_tanks_on_one_riser_a_run_waits_for_both()
    {
        var day = Scenario.Of(Plans.TwoOnOneRiser()).At("06:00").Tank("east", "100").Tank("west", "100").Start().At("06:20").Tank("east", "110").At("06:40").Tank("east", "111").Stop();
        Assert.Null(Assert.Single(day.Until("07:00").Runs).Flow);
    }
}
