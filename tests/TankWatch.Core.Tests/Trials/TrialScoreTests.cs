using TankWatch.Core.Findings;
using TankWatch.Core.Replaying;
using TankWatch.Core.Texts;
using TankWatch.Core.Timelines;
using TankWatch.Simulator.Trials;
using Xunit;

namespace TankWatch.Core.Tests.Trials;

/// <summary>How a trial is scored, with findings made by hand.</summary>
public sealed class TrialScoreTests
{
    private const ulong Seed = 5;

    [Fact]
    public void A_leak_is_found_by_the_first_finding_of_its_kind_after_its_onset()
    {
        var (trial, leak) = Made(TrialSort.Leak);
        var score = Score(trial, Said(FindingKind.Leak, leak.Device!, leak.Onset.AddHours(-1)), Said(FindingKind.Leak, leak.Device!, leak.Onset.AddHours(30)), Said(FindingKind.Leak, leak.Device!, leak.Onset.AddHours(70)));

        Assert.Equal(TimeSpan.FromHours(30), Assert.Single(score.Faults).Delay);
        Assert.Equal(leak.Onset.AddHours(-1), Assert.Single(score.FalseAlarms).RaisedAt);
    }

    [Fact]
    public void Another_kind_is_no_hit_and_a_false_alarm_unless_it_is_tolerated()
    {
        var (trial, leak) = Made(TrialSort.Leak);
        var score = Score(trial, Said(FindingKind.WeakPump, "p1", leak.Onset.AddHours(5)), Said(FindingKind.SlowFill, "p1", leak.Onset.AddHours(6)), Said(FindingKind.HeavyUse, "p1", leak.Onset.AddDays(-3)));

        Assert.Null(Assert.Single(score.Faults).Delay);
        Assert.Equal(FindingKind.WeakPump, Assert.Single(score.FalseAlarms).Kind);
    }

    [Fact]
    public void Guests_excuse_a_slow_fill_until_three_days_after_they_have_left_and_never_a_leak()
    {
        var (trial, guests) = Made(TrialSort.Guests);
        var left = guests.End!.Value;
        var score = Score(trial, Said(FindingKind.SlowFill, "p1", left.AddHours(71)), Said(FindingKind.SlowFill, "p1", left.AddHours(73)), Said(FindingKind.Leak, "roof", guests.Onset.AddDays(1)));

        Assert.Empty(score.Faults);
        Assert.Equal([FindingKind.SlowFill, FindingKind.Leak], score.FalseAlarms.Select(f => f.Kind));
        Assert.Equal(left.AddHours(73), score.FalseAlarms[0].RaisedAt);
    }

    [Fact]
    public void A_missed_supply_is_found_until_a_day_after_it_has_come_back()
    {
        var (trial, supply) = Made(TrialSort.SupplyFailure);
        var back = supply.End!.Value;

        Assert.NotNull(Assert.Single(Score(trial, Said(FindingKind.RunningOut, "roof", back.AddHours(23))).Faults).Delay);
        Assert.Null(Assert.Single(Score(trial, Said(FindingKind.RunningOut, "roof", back.AddHours(25))).Faults).Delay);
    }

    [Fact]
    public void A_cause_was_so_while_what_it_names_was_done()
    {
        var (trial, leak) = Made(TrialSort.Leak);
        var (early, late) = (leak.Onset.AddDays(-2), leak.Onset.AddDays(2));
        var score = Score(
            trial,
            Said(FindingKind.SlowFill, "p1", late) with { Causes = [new("leak", 0.9), new("weak-pump", 0.1)] },
            Said(FindingKind.SlowFill, "p1", early) with { Causes = [new("leak", 0.6), new("weak-pump", 0.4)] },
            Said(FindingKind.SlowFill, "p1", late.AddDays(1)) with { Causes = [new("leak", 0.2), new("weak-pump", 0.7)] },
            Said(FindingKind.SlowFill, "p1", late.AddDays(2)) with { Causes = [new("undetermined", 1)] });

        Assert.Equal([new("leak", 0.9, true), new("leak", 0.6, false), new("weak-pump", 0.7, false)], score.Causes);
        Assert.Equal(1, score.Undetermined);
    }

    [Fact]
    public void Figures_are_scored_against_the_truth_of_their_day()
    {
        var (trial, _) = Made(TrialSort.Leak);
        var record = trial.Run();
        var days = record.Days.Select(d => new SiteDay(
            d.Date, Complete: d != record.Days[0],
            [new PumpDay(new("p1"), d.PumpRuns + 1, 0, 0, 0, new Estimate(1.02 * d.Pumped, 0, 0), new Estimate(1.1 * d.MeanDelivery!.Value, 1.05 * d.MeanDelivery.Value, 1.2 * d.MeanDelivery.Value), null)],
            [new TankDay(new("roof"), new Estimate(0.95 * (d.Demand + d.Leak), 0, 2 * d.Demand), new Estimate(d.Leak / 24 * 1.2, 0, 1000), null)]));
        var score = TrialScore.Of(trial, record, Result(trial) with { Days = [.. days] });

        Assert.All(score.Delivery, f => Assert.Equal((10, false), (f.Error, f.Within!.Value), new Near()));
        Assert.All(score.Use, f => Assert.Equal((5, true), (f.Error, f.Within!.Value), new Near()));
        Assert.All(score.Leak, f => Assert.Equal((20, true), (f.Error, f.Within!.Value), new Near()));
        Assert.All(score.VolumeErrors, e => Assert.Equal(2, e, 1e-9));
        Assert.Equal((trial.Days - 1, trial.Days - 1, 7), (score.Delivery.Length, score.StartsWrong, score.Leak.Length));
    }

    /// <summary>One with a single roof tank.</summary>
    private static (Trial Trial, TrialEvent Done) Made(TrialSort sort)
    {
        var trial = Enumerable.Range(0, 100).Select(i => TrialMaker.Make(Seed + (ulong)i, sort)).First(t => t.Plan.FindTank("roof") is not null);
        return (trial, trial.Events.Single());
    }

    private static TrialScore Score(Trial trial, params Finding[] findings) => TrialScore.Of(trial, trial.Run(), Result(trial) with { Findings = [.. findings] });

    private static ReplayResult Result(Trial trial) => new(trial.Plan, null, null, 0, 0, [], [], []);

    private static Finding Said(FindingKind kind, string device, DateTimeOffset at) =>
        new(kind, new(device), Priority.Low, at, at, null, null, [], new(Phrase.Literal(""), [], [], []));

    private sealed class Near : IEqualityComparer<(double, bool)>
    {
        public bool Equals((double, bool) x, (double, bool) y) => Math.Abs(x.Item1 - y.Item1) < 1e-6 && x.Item2 == y.Item2;

        public int GetHashCode((double, bool) x) => 0;
    }
}
