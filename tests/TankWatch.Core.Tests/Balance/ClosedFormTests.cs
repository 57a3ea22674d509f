using MathNet.Numerics;
using MathNet.Numerics.RootFinding;
using TankWatch.Core.Findings;
using TankWatch.Core.Tests.Replaying;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>
/// The two systems whose water follows a formula: nobody draws in bursts there, so all that is learnt can be set against exact numbers.
/// [D: their site files and truths, see Data/hydraulics/ORIGIN.md]
/// </summary>
public sealed class ClosedFormTests
{
    /// <summary>
    /// Share of the truth by which a figure may be off once it is learnt. The estimate expects of every crossing on the way down that a draw
    /// goes on behind it, a few litres that steady flows do not have: about 1.1 % in tanks as small as these.
    /// </summary>
    private const double Near = 0.012;

    private const int LearntAfterDays = 4;
    private static readonly DateTimeOffset LeakFrom = new(2024, 1, 12, 20, 26, 40, TimeSpan.Zero);

    [Theory]
    [InlineData("a1_constant", 1333.333, 200)] // 800 L at 40 - 4 L/min, and at 4 L/min.
    [InlineData("a2_orifice", 1706.667, 256)] // 768 L at 30 - 3 L/min, and at 3 L/min.
    public void Fills_and_rests_last_as_long_as_the_formula_says(string name, double fillSeconds, double restMinutes)
    {
        var runs = Recorded.Of(name).Result.Runs.Where(r => r.StoppedAt < LeakFrom || name[1] == '1').ToList();
        Assert.True(runs.Count > 50);
        Assert.All(runs, r => Assert.Equal(fillSeconds, r.Duration!.Value.TotalSeconds, 1.0));
        Assert.All(runs.Zip(runs.Skip(1)), pair => Assert.Equal(restMinutes * 60, (pair.Second.StartedAt - pair.First.StoppedAt!.Value).TotalSeconds, 1.0));
    }

    [Theory]
    [InlineData("a1_constant", 40, 240)]
    [InlineData("a2_orifice", 30, 180)]
    public void Delivery_and_use_are_learnt_and_their_intervals_narrow(string name, double litresPerMinute, double litresPerHour)
    {
        var days = Recorded.Of(name).Result.Days.Where(d => d.Complete).TakeWhile(d => d.Date < new DateOnly(2024, 1, 12)).Skip(LearntAfterDays).ToList();
        Assert.All(days, day => Assert.Equal(litresPerMinute, day.Pumps[0].LitresPerMinute!.Value.Value, Near * litresPerMinute));
        Assert.All(days, day => Assert.Equal(24 * litresPerHour, day.Tanks[0].UsedLitres!.Value.Value, Near * 24 * litresPerHour));
        Assert.True(Width(days[^1]) < Width(days[0]), $"{Width(days[0])} L/min on {days[0].Date}, {Width(days[^1])} on {days[^1].Date}");

        static double Width(SiteDay day) => day.Pumps[0].LitresPerMinute!.Value.High - day.Pumps[0].LitresPerMinute!.Value.Low;
    }

    [Theory]
    [InlineData("a1_constant", 5760)]
    [InlineData("a2_orifice", 4320)]
    public void No_day_before_anything_happened_excludes_the_use_or_the_absence_of_a_leak(string name, double litres)
    {
        var days = Recorded.Of(name).Result.Days.Where(d => d.Complete && d.Date < new DateOnly(2024, 1, 12)).ToList();
        Assert.All(days.Where(d => d.Tanks[0].UsedLitres is not null), day =>
        {
            var used = day.Tanks[0].UsedLitres!.Value;
            Assert.True(used.Low <= litres * (1 + Near) && litres * (1 - Near) <= used.High, $"{day.Date}: {used}");
        });
        Assert.All(days, day => Assert.Equal(0, day.Tanks[0].LeakLitresPerHour?.Value ?? 0));
        Assert.All(days.Skip(LearntAfterDays), day => Assert.InRange(day.Tanks[0].LeakLitresPerHour!.Value.High, 0.1, 0.3 * litres / 24));
    }

    [Fact]
    public void A_steady_system_raises_nothing() => Assert.True(Recorded.Of("a1_constant").Result.Findings.IsEmpty, Recorded.Of("a1_constant").Told());

    /// <summary>
    /// [D, standard textbook: CHECKS A5, Torricelli]: V' = -(q + k √V). Its drain in the recording gives k, and k gives the fill.
    /// </summary>
    [Fact]
    public void A_leak_through_a_hole_is_found_with_its_onset_and_its_size()
    {
        const double Low = 200, High = 968, Draw = 3, Pump = 30;
        var recorded = Recorded.Of("a2_orifice");
        var runs = recorded.Result.Runs.Where(r => r.StartedAt > LeakFrom.AddHours(6) && r.StoppedAt is not null).ToList();
        var (rest, fill) = (runs.Zip(runs.Skip(1)).Average(p => (p.Second.StartedAt - p.First.StoppedAt!.Value).TotalMinutes), runs.Average(r => r.Duration!.Value.TotalMinutes));
        var hole = Brent.FindRoot(k => Minutes(k, -Draw) - rest, 0.001, 0.5, 1e-9);
        Assert.Equal(fill, Minutes(hole, Pump - Draw), 0.02);

        var leak = ((Pump * fill) - (Draw * (fill + rest))) / (fill + rest) * 60;
        var finding = Assert.Single(recorded.Result.Findings);
        Assert.Equal(FindingKind.Leak, finding.Kind);
        Assert.InRange(finding.Since, LeakFrom.AddHours(-6), LeakFrom.AddHours(6));
        Assert.InRange(finding.RaisedAt, LeakFrom, LeakFrom.AddHours(72));
        Assert.Equal("leak", finding.Causes[0].Name);
        Assert.InRange(leak, finding.Estimate!.Size.Low, finding.Estimate.Size.High);
        Assert.All(recorded.Result.Days.TakeLast(7), day => Assert.Equal(leak, day.Tanks[0].LeakLitresPerHour!.Value.Value, 0.15 * leak));

        static double Minutes(double k, double inflow) =>
            Math.Abs(Integrate.OnClosedInterval(v => 1 / (inflow - (k * Math.Sqrt(v))), Low, High));
    }
}
