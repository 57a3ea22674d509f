using TankWatch.Core.Hydraulics;
using Xunit;

namespace TankWatch.Core.Tests.Hydraulics;

public sealed class DemandTests
{
    [Theory] // CHECKS E1: 135 L a person and day, IS 1172:1993 [V]; flats of four, L a day, and half a day's storage [D].
    [InlineData(6, 3240, 1620)]
    [InlineData(12, 6480, 3240)]
    public void People_use_the_litres_of_the_standard(int flats, double aDay, double halfADay)
    {
        Assert.Equal(aDay, 24 * Demand.LitresPerHour(4 * flats), 1e-9);
        Assert.Equal(halfADay, 12 * Demand.LitresPerHour(4 * flats), 1e-9);
    }

    [Fact]
    public void A_night_has_its_lawful_use()
    {
        Assert.Equal(14.4, Demand.NightLitresPerHour(24), 1e-9); // CHECKS E7: McKenzie 1999, SANFLOW [V].
        Assert.Equal(36.0, Demand.NightLitresPerHour(60), 1e-9); // CHECKS E7 [D].
        Assert.Equal(13.55, Demand.NightLitresPerHour(24), 1.0); // CHECKS A1 [V], run A of an independent solver: what its 24 people drew.
        Assert.Equal(59, 73.55 - Demand.NightLitresPerHour(24), 0.5); // CHECKS E7 [D]: run C of that solver, with a leak of 60 L/h.
    }

    [Theory] // CHECKS A3 [D]: over a band of 300 L, L/h and the hours that it takes to reach the next probe.
    [InlineData(1.3, 231, 0.5)]
    [InlineData(14.2, 21.1, 0.05)]
    [InlineData(31.5, 9.5, 0.05)]
    [InlineData(60, 5.0, 0.05)]
    [InlineData(73.5, 4.1, 0.05)]
    public void A_loss_shows_when_the_surface_reaches_the_next_probe(double litresPerHour, double hours, double within) =>
        Assert.Equal(litresPerHour, Demand.SmallestCrossing(new(300), TimeSpan.FromHours(hours)), litresPerHour * within / hours);

    [Fact]
    public void One_quiet_night_confirms_nothing_below_60_litres_an_hour_over_300_litres() =>
        Assert.Equal(60, Demand.SmallestCrossing(new(300), Demand.QuietWindow), 1e-9); // CHECKS A3 [D].

    [Fact]
    public void A_running_lavatory_loses_what_its_source_says()
    {
        const double Gallon = 3.785411784; // L.
        Assert.Equal(757, 200 * Gallon, 0.5); // CHECKS E6 [V-2nd]: EPA WaterSense, 200 gallons a day or more.
        Assert.Equal(200 * Gallon / 24, Demand.RunningToiletLitresPerHour, 0.05);
        Assert.Equal(9.5, 300 / Demand.RunningToiletLitresPerHour, 0.05); // CHECKS A3 [D]: hours over 300 L.
    }

    [Theory] // CHECKS A4 [D]: between 300 and 600 L, net draw in L/h, hours.
    [InlineData(40, 7.5, 15.0)]
    [InlineData(60, 5.0, 10.0)]
    [InlineData(90, 3.33, 6.67)]
    public void The_time_to_empty_is_an_interval(double draw, double low, double high)
    {
        var (soonest, latest) = Demand.HoursToEmpty(new(300), new(600), draw);
        Assert.Equal(low, soonest, 0.005);
        Assert.Equal(high, latest, 0.005);
        var (one, same) = Demand.HoursToEmpty(new(300), new(300), draw); // CHECKS A4: right after the 300 L mark the ends coincide.
        Assert.Equal(one, same);
    }

    [Theory] // CHECKS A4 [D]: the same values where the draw is a function of the hours to come.
    [InlineData(40, 7.5, 15.0)]
    [InlineData(60, 5.0, 10.0)]
    [InlineData(90, 3.33, 6.67)]
    public void A_draw_that_is_learnt_gives_the_same_interval(double draw, double low, double high)
    {
        var hours = Demand.HoursToEmpty(new(450, 300, 600), 1.645, h => (draw * h, 0))!.Value;
        Assert.Equal(low, hours.Low, 0.01);
        Assert.Equal(high, hours.High, 0.01);
        var sure = Demand.HoursToEmpty(new(300, 300, 300), 1.645, h => (draw * h, 0))!.Value;
        Assert.Equal(sure.Low, sure.High);
        var unsure = Demand.HoursToEmpty(new(300, 300, 300), 1.645, h => (draw * h, 100 * h))!.Value;
        Assert.True(unsure.Low < sure.Low && sure.High < unsure.High);
    }

    [Fact]
    public void What_lasts_longer_than_two_weeks_is_not_foretold() =>
        Assert.Null(Demand.HoursToEmpty(new(1000, 1000, 1000), 1.645, h => (h, 0)));
}
