using System.Globalization;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Tests.Replaying;
using Xunit;

namespace TankWatch.Core.Tests.Hydraulics;

public sealed class CycleTests
{
    [Theory] // CHECKS C1 [V-2nd, D]: at 300 L and 60 L/min, use in L/min and the cycle in minutes.
    [InlineData(5, 65.45)]
    [InlineData(15, 26.67)]
    [InlineData(30, 20.00)]
    [InlineData(45, 26.67)]
    [InlineData(55, 65.45)]
    public void A_cycle_is_shortest_at_half_the_delivery(double use, double minutes)
    {
        Assert.Equal(minutes, Cycle.Whole(new(300), new(60), new(use)).TotalMinutes, 0.006);
        Assert.True(60 / minutes <= Cycle.MostStartsPerHour(new(300), new(60)) + 1e-9);
    }

    [Theory] // CHECKS C1 [D]: L, L/min, the fastest cycle in minutes, starts an hour.
    [InlineData(300, 60, 20, 3.0)]
    [InlineData(200, 40, 20, 3.0)]
    [InlineData(500, 50, 40, 1.5)]
    [InlineData(1000, 60, 66.7, 0.90)]
    [InlineData(100, 50, 8, 7.5)]
    public void Use_alone_can_start_a_pump_so_often(double band, double delivery, double minutes, double starts)
    {
        Assert.Equal(starts, Cycle.MostStartsPerHour(new(band), new(delivery)), 1e-9);
        Assert.Equal(minutes, Cycle.Whole(new(band), new(delivery), new(delivery / 2)).TotalMinutes, 0.05);
    }

    [Theory] // CHECKS C1 [D]: the band that keeps the starts down at 60 L/min.
    [InlineData(15, 60)]
    [InlineData(6, 150)]
    public void A_band_of_some_litres_keeps_the_starts_below_a_limit(double starts, double litres) =>
        Assert.Equal(litres, Cycle.LeastBand(starts, new(60)).Value, 1e-9);

    [Theory] // CHECKS A2 [D]: delivery, use, minutes to fill 900 L and hours to draw them. Two causes, one fill time.
    [InlineData(50, 2.25, 18.85, 6.67)]
    [InlineData(40, 2.25, 23.84, 6.67)]
    [InlineData(50, 12.25, 23.84, 1.22)]
    public void A_fill_and_a_draw_down_follow_from_delivery_and_use(double delivery, double use, double fill, double draw)
    {
        var minutes = Cycle.Fill(new(900), new(delivery), new(use)).TotalMinutes;
        Assert.Equal(fill, minutes, 0.006);
        Assert.Equal(draw, (Cycle.Whole(new(900), new(delivery), new(use)).TotalMinutes - minutes) / 60, 0.006);
    }

    [Theory] // CHECKS M [D]: fills in round minutes.
    [InlineData(500, 50, 10)]
    [InlineData(1000, 40, 25)]
    [InlineData(2000, 60, 33)]
    public void Common_tanks_fill_in_the_minutes_of_practice(double litres, double delivery, double minutes) =>
        Assert.Equal(minutes, Math.Round(Cycle.Fill(new(litres), new(delivery)).TotalMinutes));

    [Theory] // The two closed forms, see ORIGIN.md beside them: use in L/min; the leak of a2 opens on 12 January.
    [InlineData("a1_constant", 4)]
    [InlineData("a2_orifice", 3)]
    public void The_closed_forms_come_out_exactly(string name, double use)
    {
        var (plan, truth) = (Recorded.Of(name).Plan, Recorded.Of(name).Truth);
        var probes = plan.Tanks[0].Probes;
        Litres Band(int upper) => new(probes[upper].Volume.Value - probes[0].Volume.Value);
        double Healthy(string member) => truth.GetProperty("healthy").GetProperty(member).GetDouble();
        var run = truth.GetProperty("runs")[0];
        var delivery = new LitresPerMinute(run.GetProperty("mean_delivery_lpm").GetDouble());
        Assert.Equal(Healthy("mean_fall_lph"), 60 * use, 1e-6);
        Assert.Equal(Healthy("fill_low_to_mid_min"), Cycle.Fill(Band(1), delivery, new(use)).TotalMinutes, 1e-6);
        Assert.Equal(Healthy("fill_low_to_high_min"), Cycle.Fill(Band(2), delivery, new(use)).TotalMinutes, 1e-6);
        var cycle = Cycle.Whole(Band(2), delivery, new(use));
        Assert.Equal(Healthy("drain_high_to_low_min"), (cycle - Cycle.Fill(Band(2), delivery, new(use))).TotalMinutes, 1e-6);
        Assert.Equal(Healthy("runs_per_day"), TimeSpan.FromDays(1) / cycle, 1e-6);
        var (on, off) = (Time(run, "on_utc"), Time(run, "off_utc"));
        Assert.Equal((off - on).TotalMinutes, Cycle.Fill(Band(2), delivery, new(use)).TotalMinutes, 0.001); // The recording counts milliseconds.
    }

    [Fact]
    public void Numbers_beyond_any_building_end_at_the_longest_span()
    {
        Assert.Equal(TimeSpan.FromDays(10_000), Cycle.Fill(new(1e9), new(1e-300)));
        Assert.Equal(TimeSpan.FromDays(10_000), Cycle.Fill(new(0), new(0)));
    }

    private static DateTimeOffset Time(System.Text.Json.JsonElement run, string member) =>
        DateTimeOffset.Parse(run.GetProperty(member).GetString()!, CultureInfo.InvariantCulture);
}
