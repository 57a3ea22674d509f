using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;

namespace TankWatch.Core;

/// <summary>The judgement, one step at a time. Ticks stand at whole minutes of event time, so silence is noticed and replays agree.</summary>
internal static class SiteJudge
{
    public static Judged Step(SiteState state, SiteInput input, SitePlan plan)
    {
        var step = new Stepping(state, plan);
        step.TickTo(input.At);
        if (input is Observed { Observation: var observation })
        {
            step.Observe(observation);
        }

        return step.Done();
    }

    private static DateTimeOffset Minute(DateTimeOffset at) => new(at.UtcTicks - (at.UtcTicks % TimeSpan.TicksPerMinute), TimeSpan.Zero);

    private static DateTimeOffset MinuteFrom(DateTimeOffset at) => Minute(at) is var whole && whole == at ? whole : whole.AddMinutes(1);

    /// <summary>One step's working copy; it never leaves this class.</summary>
    private sealed class Stepping(SiteState state, SitePlan plan)
    {
        private readonly ImmutableArray<(Rule Rule, int Device)> slots = PlanShape.Of(plan).Slots;

        private readonly List<Finding> findings = [];
        private ImmutableArray<PumpRun> runs = [];
        private ImmutableArray<SiteDay> days = [];
        private SiteState state = state;

        public void TickTo(DateTimeOffset to)
        {
            var last = Minute(to);
            if (state.Last is null)
            {
                // Before the first word nothing can be judged, and its own day begins with it.
                return;
            }

            // Minutes before the wake time would change nothing; skipping them is what makes a month of ticks cheap.
            while (state.WakeAt is { } wake && MinuteFrom(wake) is var minute && minute <= last)
            {
                Evaluate(minute);
            }

            state = state with { TickedTo = state.TickedTo > last ? state.TickedTo : last };
        }

        public void Observe(Observation observation)
        {
            var at = observation.Stamp.At;
            var day = state.Day ?? DayLedger.Begin(at, plan);
            var (timeline, ended) = TimelineStep.Apply(state.Timeline, observation, plan);
            var (counted, corrected) = day.Add(state.Timeline, timeline, observation, ended, plan);
            state = state with
            {
                Timeline = timeline,
                Day = counted,
                Last = observation,
                TickedTo = state.TickedTo > Minute(at) ? state.TickedTo : Minute(at),
            };
            runs = ended is null ? runs : runs.Add(ended);
            days = corrected is null ? days : days.Add(corrected);
            Evaluate(at);
        }

        public Judged Done() => new(state, [.. findings], runs, days);

        private void Evaluate(DateTimeOffset now)
        {
            while (state.Day is { } day && day.End <= now)
            {
                var (next, closed) = day.Close(state.Timeline, plan);
                days = days.Add(closed);
                state = state with { Day = next };
            }

            var (rules, wake) = RuleBook.Evaluate(state.Rules, slots, new(plan, state.Timeline, now), findings);

            // A wake time not after now would turn the minutes into an endless loop; the next minute asks again.
            wake = wake <= now ? now.AddTicks(1) : wake;
            state = state with { Rules = rules, WakeAt = Moments.Earlier(wake, state.Day?.End) };
        }
    }
}
