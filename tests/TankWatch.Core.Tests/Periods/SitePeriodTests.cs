using TankWatch.Core.Periods;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Periods;

/// <summary>Days added up. One pump lifts 18 m into one tank, for 48 people.</summary>
public sealed class SitePeriodTests
{
    private static readonly DateOnly Monday = new(2026, 3, 2);
    private static readonly DateOnly Sunday = new(2026, 3, 8);
    private static readonly SitePlan House = Plans.House(", \"staticLiftMetres\": 18") with { Residents = 48 };

    private static SiteDay Day(
        int day, Estimate? delivered = null, double own = 0, Estimate? used = null, double usedOwn = 0, Estimate? leak = null,
        double known = 1, double? below = 0, double heard = 86400, bool complete = true, Estimate? kwh = null) => new(
        Monday.AddDays(day), complete,
        [new(new("p1"), 4, 12_000, 3600, 0, delivered, null, kwh, own)],
        [new(new("roof"), used, leak, below, known, usedOwn, heard, 86400 - heard)]);

    private static SitePeriod Week(params SiteDay[] days) => SitePeriod.Of(House, Monday, Sunday, days);

    private static Estimate About(double value, double half) => new(value, value - half, value + half);

    [Fact]
    public void What_days_share_adds_up_as_it_is_and_what_is_their_own_by_its_variance()
    {
        // [D]: bounds 50 apart, of which 1.645 · 20 = 32.9 are the day's own: √(2500 − 1082.41) = 37.6509 is shared. Four days: √(16 · 1417.59 + 4 · 1082.41) = 164.3505.
        var four = Enumerable.Range(0, 4).Select(i => Day(i, About(1000, 50), own: 400, About(1000, 50), usedOwn: 400)).ToArray();
        var week = Week(four);
        foreach (var sum in new[] { week.Pumps[0].DeliveredLitres!.Value, week.Tanks[0].UsedLitres!.Value })
        {
            Assert.Equal((4000.0, 164.3505), (sum.Value, Math.Round(sum.High - sum.Value, 4)));
            Assert.Equal(sum.High - sum.Value, sum.Value - sum.Low, 6);
        }

        // A day stored before this was told apart shares all: four times 50.
        Assert.Equal(About(4000, 200), Week([.. four.Select(d => d with { Pumps = [d.Pumps[0] with { OwnVariance = 0 }] })]).Pumps[0].DeliveredLitres);
    }

    [Fact]
    public void One_day_is_told_as_it_was()
    {
        var day = SitePeriod.Of(House, Monday, Monday, [Day(0, About(1000, 50), own: 400)]).Pumps[0].DeliveredLitres!.Value;
        Assert.Equal((1000.0, 950.0, 1050.0), (day.Value, Math.Round(day.Low, 9), Math.Round(day.High, 9)));
    }

    [Fact]
    public void A_sum_with_an_unknown_day_is_unknown_and_an_average_day_says_how_many_it_rests_on()
    {
        var week = Week(Day(0, used: About(4800, 100)), Day(1), Day(2, used: About(9600, 100)), Day(3, used: About(1, 0), complete: false));
        Assert.Null(week.Tanks[0].UsedLitres);
        Assert.Equal(new DayMean(About(7200, 100), 2), week.MeanDay.UsedLitres);
        Assert.Equal(new DayMean(new(150, 7100 / 48.0, 7300 / 48.0), 2).Of.Value, week.MeanDay.UsedLitresPerPerson!.Value.Of.Value);
        Assert.Equal(3, week.MeanDay.Starts!.Value.Days); // The day in progress is no whole day.
        Assert.Null(week.MeanDay.DeliveredLitres);
        Assert.Null(Week(Day(0, used: About(4800, 100)) with { Complete = false }).MeanDay.UsedLitres);
        Assert.Null(SitePeriod.Of(House with { Residents = null }, Monday, Monday, [Day(0, used: About(4800, 100))]).MeanDay.UsedLitresPerPerson);
    }

    [Fact]
    public void Coverage_counts_the_days_without_figures_and_not_those_to_come()
    {
        Assert.Equal(0.6, Week(Day(1, known: 0.9), Day(2, known: 0.9)).Known, 9); // Monday has none; Thursday has not begun.
        Assert.Equal((0, 0.0), (Week().DaysKnown, Week().Known));

        // A day in progress weighs what it is long so far: 24 h all known and 8 h half known.
        var dawn = Day(1, known: 0.5, complete: false);
        Assert.Equal(28.0 / 32, Week(Day(0), dawn with { Tanks = [dawn.Tanks[0] with { HeardSeconds = 8 * 3600 }] }).Known, 9);
    }

    [Fact]
    public void A_tank_was_available_while_water_stood_above_its_lowest_probe_and_silence_widens_the_bounds()
    {
        // [D]: 18 h heard of, 1 h 48 min of them empty: 0.9; had all the silence been empty 16.2/24, had none 22.2/24.
        var tank = Week(Day(0, below: 6480, heard: 64_800)).Tanks[0].Availability!.Value;
        Assert.Equal((0.9, 0.675, 0.925), (Math.Round(tank.Value, 9), Math.Round(tank.Low, 9), Math.Round(tank.High, 9)));
        Assert.Null(Week(Day(0, below: null, heard: 0)).Tanks[0].Availability);
        Assert.Null(Week(Day(0) with { Tanks = [new(new("roof"), null, null, 0)] }).Tanks[0].Availability);
    }

    [Fact]
    public void Energy_for_a_cubic_metre_stands_beside_what_lifting_alone_takes()
    {
        // CHECKS B1: less than 2.724·H Wh/m³ is impossible [D: ρgH, 1000 kg/m³]; water at 40 °C is 0.8 % lighter.
        var pump = Week(Day(0, About(10_000, 400), kwh: About(1.5, 0.15))).Pumps[0];
        Assert.InRange(pump.LeastWattHoursPerCubicMetre!.Value, 0.99 * 2.724 * 18, 2.724 * 18);
        // [D]: 150 Wh/m³; relative doubts of 10 % and 4 %: 10.77 %.
        var energy = pump.WattHoursPerCubicMetre!.Value;
        Assert.Equal((150.0, 133.8, 166.2), (Math.Round(energy.Value, 9), Math.Round(energy.Low, 1), Math.Round(energy.High, 1)));
        Assert.False(pump.IsImpossible);
        Assert.True(Week(Day(0, About(10_000, 400), kwh: About(0.4, 0.04))).Pumps[0].IsImpossible);
        Assert.Null(SitePeriod.Of(Plans.House(), Monday, Monday, [Day(0, About(10_000, 400), kwh: About(1.5, 0.15))]).Pumps[0].WattHoursPerCubicMetre);
        Assert.Null(Week(Day(0, new(0, 0, 0), kwh: new(0, 0, 0))).Pumps[0].WattHoursPerCubicMetre);
    }

    [Fact]
    public void A_day_knows_how_long_its_probes_were_heard_of()
    {
        // A word holds for 75 minutes: from 01:15 to 06:00 nothing is known, and after 07:15 neither.
        var day = Scenario.Of(Plans.House()).At("00:00").Tank("roof", "110").Silent().At("06:00").Tank("roof", "110").Silent().Until("1d 00:00").Days[0].Tanks[0];
        Assert.Equal((2 * 75 * 60, 86400 - (2 * 75 * 60)), (day.HeardSeconds, day.UnheardSeconds));
    }
}
