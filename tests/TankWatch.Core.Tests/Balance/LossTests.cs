using System.Collections.Concurrent;
using MathNet.Numerics.Statistics;
using TankWatch.Core.Findings;
using TankWatch.Core.Replaying;
using TankWatch.Core.Tests.Replaying;
using TankWatch.Core.Tests.Trials;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>Whatever is taken away makes intervals wider and findings later, and never wrong.</summary>
public sealed class LossTests
{
    private static readonly ConcurrentDictionary<(string, Loss), Lazy<ReplayResult>> Replays = new();

    // What needs nothing but the roof and the pump.
    private static readonly string[] Found = ["o03b_leak_60", "o03c_leak_200", "o04_weak_pump", "o05_pump_decline", "o06_riser_valve", "o07_backdrain", "o10_short_cycling"];

    public static TheoryData<string, Loss> Cases => Of(RecordedScores.Names);

    public static TheoryData<string, Loss> Faults => Of(Found);

    private static TheoryData<string, Loss> Of(IEnumerable<string> names) =>
        [.. names.SelectMany(name => Enum.GetValues<Loss>().Where(loss => Losses.Has(Recorded.Of(name), loss)).Select(loss => new TheoryDataRow<string, Loss>(name, loss)))];

    private static ReplayResult Replay(string name, Loss loss) => Replays.GetOrAdd((name, loss), _ => new(() => Losses.Replay(Recorded.Of(name), loss))).Value;

    private static TrialScore Score(string name, Loss loss) => RecordedScores.Of(Recorded.Of(name), Replay(name, loss));

    /// <summary>
    /// That a unit was silent is right where it was; and that a pump does not start is all that can be said of an empty sump which nobody can reach.
    /// </summary>
    [Theory]
    [MemberData(nameof(Cases))]
    public void Nothing_wrong_is_said(string name, Loss loss)
    {
        var wrong = Score(name, loss).FalseAlarms.Where(f => f.Scope is FindingScope.Water
            && !(loss is Loss.SumpProbes && name == "o08_supply_failure" && f.Kind is FindingKind.NoStart)).ToList();
        Assert.True(wrong.Count == 0, string.Join("; ", wrong.Select(f => $"{f.Kind} of {f.Device} at {f.RaisedAt:u}")));
    }

    [Theory]
    [MemberData(nameof(Faults))]
    public void What_was_done_is_found_all_the_same(string name, Loss loss) =>
        Assert.All(Score(name, loss).Faults, fault => Assert.True(fault.Delay is not null, string.Join("; ", Replay(name, loss).Findings.Select(f => $"{f.Kind} {f.RaisedAt:u}"))));

    /// <remarks>One finding may come earlier by luck; all together do not.</remarks>
    [Theory]
    [InlineData(Loss.DayOfSilence)]
    [InlineData(Loss.Clocks)]
    [InlineData(Loss.SumpProbes)]
    [InlineData(Loss.MiddleProbe)]
    public void Findings_come_no_earlier_and_intervals_are_no_narrower(Loss loss)
    {
        var names = Found.Where(name => Losses.Has(Recorded.Of(name), loss)).ToList();
        var (whole, less) = (Delay(names.Select(RecordedScores.Of)), Delay(names.Select(name => Score(name, loss))));
        Assert.True(less >= 0.98 * whole, $"{less:F1} h with {loss} lost, {whole:F1} h with all");
        var (wide, wider) = (Width(names.Select(name => Recorded.Of(name).Result)), Width(names.Select(name => Replay(name, loss))));
        Assert.True(wider >= 0.98 * wide, $"{wider:F2} % with {loss} lost, {wide:F2} % with all");

        static double Delay(IEnumerable<TrialScore> scores) => scores.SelectMany(s => s.Faults).Average(f => f.Delay?.TotalHours ?? 30 * 24);
        static double Width(IEnumerable<ReplayResult> results) => results.SelectMany(r => r.Days).Where(d => d.Complete)
            .Select(d => d.Tanks[0].UsedLitres is { } used ? 100 * (used.High - used.Low) / used.Value : double.PositiveInfinity).Median();
    }

    [Fact]
    public void A_day_of_silence_has_no_figures_that_nobody_could_know()
    {
        foreach (var name in Found.Take(3))
        {
            var (whole, less) = (Recorded.Of(name).Result.Days, Replay(name, Loss.DayOfSilence).Days);
            var silent = Losses.SilentFrom(Recorded.Of(name));
            var hit = less.Where(d => d.Complete && d.Tanks[0].Known < 0.7 && Math.Abs((d.Date.ToDateTime(default) - silent.UtcDateTime).TotalDays) < 2).ToList();
            Assert.InRange(hit.Count, 1, 2);
            Assert.All(hit, day => Assert.True(
                day.Tanks[0].UsedLitres is not { } used || used.High - used.Low > Width(whole.Single(d => d.Date == day.Date)), $"{name} {day.Date}: {day.Tanks[0]}"));
        }

        static double Width(SiteDay day) => day.Tanks[0].UsedLitres!.Value.High - day.Tanks[0].UsedLitres!.Value.Low;
    }
}
