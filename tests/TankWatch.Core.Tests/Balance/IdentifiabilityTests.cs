using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>What cannot be known must not be said: CHECKS A2 and A3 [D].</summary>
public sealed class IdentifiabilityTests
{
    // A2, L/min: base 50 against 2.25. Weak: 40 against 2.25; more draw: 50 against 12.25. Both fill 900 L in 23.84 minutes instead of 18.85.
    private const double Delivery = 50 * 60, Weak = 40 * 60, Draw = 2.25 * 60, MoreDraw = 12.25 * 60;
    private static readonly TimeSpan Onset = TimeSpan.FromDays(12);

    private static Outcome Changed(string end, double draw, double delivery) =>
        SteadyWater.Lived(end, at => at < Onset ? Draw : draw, at => at < Onset ? Delivery : delivery);

    private static string Told(Outcome outcome) => string.Join("; ", outcome.Findings.Select(f => $"{f.Kind} {f.RaisedAt:u} {string.Join(", ", f.Causes)}"));

    [Fact]
    public void The_same_fill_time_has_two_causes()
    {
        double LastFill(double draw, double delivery) => Changed("13d 00:00", draw, delivery).Runs.Last(r => r.StoppedAt is not null).Duration!.Value.TotalMinutes;
        Assert.Equal(18.85, LastFill(Draw, Delivery), 0.05);
        Assert.Equal(23.84, LastFill(Draw, Weak), 0.05);
        Assert.Equal(23.84, LastFill(MoreDraw, Delivery), 0.05);
    }

    [Theory]
    [InlineData(Draw, Weak)]
    [InlineData(MoreDraw, Delivery)]
    public void One_long_fill_alone_is_nothing_or_undetermined(double draw, double delivery)
    {
        // From the moment at which a fill begins to the one at which it has ended: its draw-down is not seen.
        var start = SteadyWater.Lived("13d 00:00", _ => Draw, _ => Delivery).Runs.First(r => r.StartedAt > Scenario.Midnight + Onset).StartedAt - Scenario.Midnight;
        var outcome = SteadyWater.Lived(
            Scenario.Clock(Scenario.Midnight + start + TimeSpan.FromMinutes(24)), at => at < start ? Draw : draw, at => at < start ? Delivery : delivery);
        Assert.Equal(23.84, outcome.Runs[^1].Duration!.Value.TotalMinutes, 0.05);
        Assert.All(outcome.Findings, f => Assert.Equal("undetermined", f.Causes[0].Name));
    }

    [Fact]
    public void A_weak_pump_is_one_when_the_tank_goes_down_as_ever()
    {
        var outcome = Changed("18d 00:00", Draw, Weak);
        Assert.True(outcome.Kinds.Contains(FindingKind.WeakPump), Told(outcome));
        outcome.Never(FindingKind.Leak);
        outcome.Never(FindingKind.BackDrain);
    }

    [Fact]
    public void It_is_never_one_when_the_tank_goes_down_faster()
    {
        var outcome = Changed("18d 00:00", MoreDraw, Delivery);
        Assert.True(outcome.Kinds.Any(kind => kind is FindingKind.Leak or FindingKind.HeavyUse), Told(outcome));
        outcome.Never(FindingKind.WeakPump);
    }

    // A3: from five hours in which nobody draws, 300 L apart, nothing below 60 L/h can be told; by day people draw 170 L/h.
    private static Outcome Leaking(string end, double leak) =>
        SteadyWater.Lived(end, at => (at.TotalHours % 24 < 5 ? 0.5 : 170) + (at < Onset ? 0 : leak), _ => Delivery);

    [Theory]
    [InlineData(1.3)] // One drip a second: 231 h for a band.
    [InlineData(14.2)]
    [InlineData(31.5)] // A running cistern.
    [InlineData(59)]
    public void No_leak_is_claimed_from_a_night_that_cannot_show_it(double leak) => Leaking("12d 05:00", leak).Never(FindingKind.Leak);

    [Theory]
    [InlineData(0)]
    [InlineData(1.3)]
    [InlineData(14.2)]
    [InlineData(31.5)]
    [InlineData(60)]
    [InlineData(73.5)]
    public void A_leak_is_found_with_its_size_or_stands_inside_the_bound(double leak)
    {
        var outcome = Leaking("26d 00:00", leak);
        // A little more water may be taken for a little more use; that is no alarm, and the bound below still holds.
        Assert.True(outcome.Findings.All(f => leak > 0 && f.Kind is (FindingKind.Leak or FindingKind.HeavyUse)), Told(outcome));

        // A week and more after it began: a bound speaks of a leak that has run as long as that.
        var figures = outcome.Days.Where(d => d.Complete).TakeLast(5).Select(d => d.Tanks[0].LeakLitresPerHour!.Value).ToList();
        // Water as steady as this is not what the spreads are made for: a size may be a fifth off, as part of it may be taken for use.
        Assert.All(figures, figure => Assert.True(
            figure.High > 0 && leak <= 1.05 * figure.High && figure.Low <= leak || Math.Abs(figure.Value - leak) <= 0.2 * leak,
            $"{leak} L/h is outside {figure}; {Told(outcome)}"));
    }
}
