using TankWatch.Core.Balance;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>What a passage weighs on each unknown. All values [D], by hand.</summary>
public sealed class PassageWeightsTests
{
    private static readonly SitePlan Plan = Plans.Bore([500, 1000, 1800], capacity: 2000);
    private static readonly Tank Roof = Plan.Tanks[0];
    private static readonly DateTimeOffset Friday = new(2026, 3, 6, 0, 0, 0, TimeSpan.Zero);

    private static BalanceFilter Filter()
    {
        var filter = new BalanceFilter(1, 1);
        filter.Mean.AsSpan(0, BalanceModel.Hours).Fill(60);
        filter.Mean[BalanceFilter.Inflow] = 2400;
        return filter;
    }

    private static (float[] Weights, int[] Used, double Use, double Gain, double Expected, double Noise) Of(
        BalanceFilter filter, DateTimeOffset start, double hours, TimeZoneInfo? zone = null, int from = 2, int to = 1, double on = 0, bool falling = true)
    {
        var weights = new float[filter.Count];
        var passage = new Passage(from, to, falling, falling, start, start.AddHours(hours), new(on, 0, 0, 0), false);
        var view = PassageWeights.Of(filter, passage, Roof, zone ?? TimeZoneInfo.Utc, 1, weights, stackalloc int[filter.Count], stackalloc float[BalanceModel.Hours]);
        return (weights, view.Used.ToArray(), view.Use, view.Gain, view.Expected, view.Noise);
    }

    [Fact]
    public void Each_hour_of_the_day_weighs_the_time_that_lies_in_it()
    {
        var (weights, used, use, gain, expected, _) = Of(Filter(), Friday.AddHours(9.5), 2.75);
        Assert.Equal([-0.5f, -1, -1, -0.25f], weights[9..13]);
        Assert.Equal(-2.75, weights[..BalanceModel.Hours].Sum(), 1e-6);
        Assert.Equal(165, use, 1e-9);
        Assert.Equal(-800, gain);
        Assert.Equal(-165, expected, 1e-4);
        Assert.Equal(-165, weights[BalanceFilter.Slow], 1e-4);
        Assert.Equal(-165, weights[BalanceFilter.Fast], 1e-4);
        Assert.Equal(-2.75, weights[BalanceFilter.BackDrain], 1e-6);
        Assert.Equal(1, weights[new BalanceFilter(1, 1).Probe(0)]);
        Assert.Equal(Enumerable.Range(0, weights.Length).Where(i => weights[i] != 0), used);
    }

    [Fact]
    public void A_weekend_weighs_on_its_factors_too()
    {
        var filter = Filter();
        filter.Mean[BalanceFilter.Weekend] = 0.5f; // Midnight to four.
        var (weights, _, use, _, _, _) = Of(filter, Friday.AddHours(23), 2);
        Assert.Equal(-1, weights[23]);
        Assert.Equal(-1.5, weights[0], 1e-6);
        Assert.Equal(-60, weights[BalanceFilter.Weekend], 1e-4);
        Assert.Equal(150, use, 1e-4);
        Assert.Equal(0, Of(filter, Friday.AddHours(-1), 2).Weights[BalanceFilter.Weekend]); // Thursday.
        Assert.Equal(0, Of(filter, Friday.AddDays(3), 2).Weights[BalanceFilter.Weekend]); // Monday.
    }

    [Fact]
    public void Hours_are_those_of_the_sites_clock()
    {
        var kolkata = TimeZoneInfo.FindSystemTimeZoneById("Asia/Kolkata");
        var (weights, _, _, _, _, _) = Of(Filter(), Friday, 1, kolkata); // 05:30 to 06:30
        Assert.Equal([-0.5f, -0.5f], weights[5..7]);
    }

    [Fact]
    public void A_change_of_clocks_moves_the_hours_after_it_and_loses_no_time()
    {
        // Europe/Berlin goes forward on 29 March 2026 at 01:00 UTC. [M: EU directive 2000/84/EC]
        var berlin = TimeZoneInfo.FindSystemTimeZoneById("Europe/Berlin");
        var change = new DateTimeOffset(2026, 3, 29, 1, 0, 0, TimeSpan.Zero);
        Assert.Equal(-1.0f, Of(Filter(), change.AddHours(-1), 1, berlin).Weights[1]);
        Assert.Equal(-1.0f, Of(Filter(), change, 1, berlin).Weights[3]);

        var across = Of(Filter(), change.AddHours(-2), 4, berlin).Weights[..BalanceModel.Hours];
        Assert.Equal(-4, across.Sum(), 1e-6);
    }

    [Fact]
    public void A_fill_weighs_its_inflow_and_not_the_back_drain()
    {
        var (weights, _, _, gain, expected, _) = Of(Filter(), Friday.AddHours(9), 0.5, from: 0, to: 2, on: 0.5, falling: false);
        Assert.Equal(0.5, weights[BalanceFilter.Inflow]);
        Assert.Equal(0, weights[BalanceFilter.BackDrain]);
        Assert.Equal(-0.5, weights[BalanceFilter.Leak], 0.05);
        Assert.Equal(1300, gain);
        Assert.Equal(1200 - 30, expected, 1e-3);
        Assert.Equal(0, weights[new BalanceFilter(1, 1).Probe(0)]);
    }

    [Fact]
    public void A_leak_weighs_more_the_fuller_the_tank_and_by_its_own_litres_in_the_middle()
    {
        double Leak(int from, int to) => -Of(Filter(), Friday.AddHours(9), 1, from: from, to: to).Weights[BalanceFilter.Leak];
        Assert.True(Leak(2, 1) > 1 && Leak(1, 0) < 1);
        Assert.Equal(1, Leak(2, 0), 1e-6);
        Assert.Equal(Math.Pow(2800.0 / 1500, BalanceModel.LeakExponent), Leak(2, 1) / Leak(1, 0), 1e-5);
    }

    [Fact]
    public void Draws_at_both_ends_cancel_and_one_at_the_start_goes_on()
    {
        double Expected(bool from, bool to, double scale = 1)
        {
            var filter = Filter();
            var passage = new Passage(2, 1, from, to, Friday, Friday.AddHours(2), default, false);
            return PassageWeights.Of(filter, passage, Roof, TimeZoneInfo.Utc, scale, new float[filter.Count], new int[filter.Count], new float[BalanceModel.Hours]).Expected;
        }

        Assert.Equal(Expected(false, false), Expected(true, true), 1e-9);
        Assert.Equal(-BalanceModel.StillToCome, Expected(true, false) - Expected(false, false), 1e-6);
        Assert.Equal(BalanceModel.StillToCome, Expected(false, true) - Expected(false, false), 1e-6);
        Assert.Equal(Expected(false, false), Expected(true, false, scale: 0), 1e-9); // Steady use has none.
    }

    [Fact]
    public void What_is_not_known_of_a_passage_grows_with_its_use_and_never_falls_below_a_draw()
    {
        var crossing = 2 * Math.Pow(BalanceModel.CrossingSpread * 2000, 2);
        Assert.Equal((BalanceModel.DrawLitres * 120) + Math.Pow(BalanceModel.OwnSpread * 120, 2) + crossing, Of(Filter(), Friday, 2).Noise, 1e-3);
        Assert.Equal((BalanceModel.DrawLitres * 2) + crossing, Of(Filter(), Friday, 0.001).Noise, 0.1);
    }
}
