using System.Collections.Immutable;
using TankWatch.Simulator;
using Xunit;

namespace TankWatch.Core.Tests.Simulator;

/// <summary>What is true of a site besides its file shows as it would on paper.</summary>
public sealed class InstallationTests
{
    private static readonly SimulationOptions Steady = TestSites.Exact with { ConstantUseLitresPerMinute = 10 };

    [Theory]
    [InlineData(25)]
    [InlineData(-30)]
    public void A_probe_that_sits_off_its_height_is_met_so_much_later(double millimetres)
    {
        // [D]: 1,200 L over 1.2 m are a litre a millimetre; 50 L/min less 10 of use lift the surface by 40 L/min; 400 L lie between the probes.
        var options = Steady with { ProbeOffsetMillimetres = ImmutableDictionary<string, double>.Empty.Add("roof/probe 1", millimetres) };
        var seen = TestSites.Watch(TestSites.BoreAndRoof(), options, TimeSpan.FromDays(2));
        var fill = seen.Runs("p1").ElementAt(2);
        var met = seen.Levels.First(l => l.SentAt > fill.Started && l.Wet is "110").SentAt;

        Assert.Equal(60 * (400 + millimetres) / 40, (met - fill.Started).TotalSeconds, 10.0);
    }

    [Fact]
    public void A_unit_that_measures_no_volts_says_none()
    {
        var seen = TestSites.Watch(TestSites.BoreAndRoof(), Steady with { UnitsMeasureVolts = false }, TimeSpan.FromDays(2));

        Assert.DoesNotContain(seen.Messages, m => m.Kind is "supply" || m.PayloadJson.Contains("volts", StringComparison.Ordinal) || m.PayloadJson.Contains("watts", StringComparison.Ordinal));
        Assert.True(seen.Runs("p1").Count() > 3);
    }

    [Fact]
    public void A_riser_from_below_delivers_less_the_fuller_the_tank_is()
    {
        // [D]: half a metre of 16 m more at the shut-off head of 1.4 lifts takes 0.5 / 6.4 of the spare head, and half of that of the flow.
        var options = Steady with { ConstantUseLitresPerMinute = 1 };
        var (from, below) = (Filling(options), Filling(options with { RiserEntersBelow = true }));

        Assert.Equal(1, from.Second / from.First, 0.01);
        Assert.InRange(below.Second / below.First, 1.02, 1.08);

        static (double First, double Second) Filling(SimulationOptions options)
        {
            var seen = TestSites.Watch(TestSites.BoreAndRoof(), options, TimeSpan.FromDays(3));
            var fill = seen.Runs("p1").First(r => r.Stopped is not null && r.Started > TestSites.Start.AddHours(1));
            var middle = seen.Levels.First(l => l.SentAt > fill.Started && l.Wet is "110").SentAt;
            return ((middle - fill.Started).TotalSeconds, (fill.Stopped!.Value - middle).TotalSeconds);
        }
    }

    [Fact]
    public void How_often_draws_are_planned_hardly_changes_the_fills()
    {
        var (minute, five) = (Fills(TimeSpan.FromMinutes(1)), Fills(TimeSpan.FromMinutes(5)));

        // [D]: flows follow the levels once a tick: a sump of 6,000 L sinks by 2.5 cm meanwhile, 0.4 % of the spare head, 0.2 % of the flow.
        Assert.True(minute.Count > 10);
        Assert.Equal(minute.Count, five.Count);
        Assert.All(minute.Zip(five), pair => Assert.Equal(1, pair.Second / pair.First, 0.003));

        static List<double> Fills(TimeSpan tick) =>
            [.. TestSites.Watch(TestSites.SumpAndRoof(), Steady with { Tick = tick, PublicSupplyLitresPerMinute = 20 }, TimeSpan.FromDays(4)).Runs("p1").Where(r => r.Stopped is not null).Select(r => r.Seconds)];
    }
}
