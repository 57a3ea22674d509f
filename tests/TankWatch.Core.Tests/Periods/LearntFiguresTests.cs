using TankWatch.Core.Observations;
using TankWatch.Core.Periods;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;
using TankWatch.Simulator;
using TankWatch.Simulator.Trials;
using Xunit;

namespace TankWatch.Core.Tests.Periods;

/// <summary>Figures of healthy simulated buildings against what really flowed there.</summary>
public sealed class LearntFiguresTests
{
    private const ulong FirstSeed = 41_000;

    private const int Trials = 24;

    [Fact]
    public void A_week_s_bounds_hold_what_was_used_about_as_often_as_a_day_s()
    {
        var (days, weeks) = (new List<bool>(), new List<bool>());
        for (var i = 0; i < Trials; i++)
        {
            var trial = TrialMaker.Make(FirstSeed + (ulong)i, TrialSort.Healthy);
            if (trial.Plan.Tanks.Count(tank => tank.Role == TankRole.Overhead) == 1)
            {
                Hold(trial, days, weeks);
            }
        }

        var (day, week) = (days.Average(held => held ? 1.0 : 0), weeks.Average(held => held ? 1.0 : 0));
        Assert.True(weeks.Count > Trials && week > day - 0.1, $"{weeks.Count} weeks from seed {FirstSeed}: bounds of use hold on {day:F3} of days and in {week:F3} of weeks");
    }

    private static void Hold(Trial trial, List<bool> days, List<bool> weeks)
    {
        var record = trial.Run();
        var said = Replay.Run(trial.Plan, RecordingOf(trial.Plan, record)).Days.Where(day => day.Complete && day.Tanks[0].UsedLitres is not null);
        foreach (var week in said.Join(record.Days, day => day.Date, real => real.Date, (day, real) => (Said: day, Real: real.Demand)).Skip(7).Chunk(7).Where(week => week.Length == 7))
        {
            days.AddRange(week.Select(day => Holds(day.Said.Tanks[0].UsedLitres!.Value, day.Real)));
            var period = SitePeriod.Of(trial.Plan, week[0].Said.Date, week[^1].Said.Date, [.. week.Select(day => day.Said)]);
            weeks.Add(Holds(period.Tanks[0].UsedLitres!.Value, week.Sum(day => day.Real)));
        }

        static bool Holds(Estimate said, double real) => said.Low <= real && real <= said.High;
    }

    [Fact]
    public void The_learnt_hours_add_up_to_a_day_and_the_nights_are_quiet()
    {
        var trial = TrialMaker.Make(FirstSeed, TrialSort.Healthy);
        var record = trial.Run();
        var state = SiteState.Start(trial.Plan);
        foreach (var observation in RecordingOf(trial.Plan, record).Observations.Order(Observation.Order))
        {
            state = SiteStep.Judge(state, new Observed(observation), trial.Plan).Next;
        }

        var pattern = UsePattern.Of(state.Timeline, trial.Plan)!;
        var real = record.Days.TakeLast(14).Average(day => day.Demand);
        var said = ((5 * pattern.Weekday.Sum(h => h.Value)) + (2 * pattern.Weekend.Sum(h => h.Value))) / 7;
        Assert.InRange(said, 0.9 * real, 1.1 * real);
        Assert.All(pattern.Weekday.Concat(pattern.Weekend), hour => Assert.True(hour.Low >= 0 && hour.Low <= hour.Value && hour.Value <= hour.High));
        Assert.True(pattern.Weekday[1..4].Average(h => h.Value) < pattern.Weekday[7..10].Average(h => h.Value));
        Assert.Null(UsePattern.Of(SiteState.Start(trial.Plan).Timeline, trial.Plan));
    }

    private static Recording RecordingOf(SitePlan plan, TrialRecord record)
    {
        var recording = new Recording(plan);
        foreach (var message in record.Messages)
        {
            recording.Add(Recordings.LineOf(message));
        }

        return recording;
    }
}
