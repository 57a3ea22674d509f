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
    private struct Stepping(SiteState state, SitePlan plan)
    {
        private readonly ImmutableArray<(Rule Rule, int Device)> slots = PlanShape.Of(plan).Slots;

        private readonly List<Finding> findings = [];
        private ImmutableArray<PumpRun> runs = [];
        private ImmutableArray<SiteDay> days = [];

        // The members of the state to be, apart: one new state a step instead of one for every change on the way.
        private SiteTimeline timeline = state.Timeline;
        private ImmutableArray<RuleState> rules = state.Rules;
        private DayLedger? day = state.Day;
        private Observation? newest = state.Last;
        private DateTimeOffset tickedTo = state.TickedTo;
        private DateTimeOffset? wakeAt = state.WakeAt;

        public void TickTo(DateTimeOffset to)
        {
            var last = Minute(to);
            if (newest is null)
            {
                // Before the first word nothing can be judged, and its own day begins with it.
                return;
            }

            // Minutes before the wake time would change nothing; skipping them is what makes a month of ticks cheap.
            while (wakeAt is { } wake && MinuteFrom(wake) is var minute && minute <= last)
            {
                Evaluate(minute);
            }

            tickedTo = tickedTo > last ? tickedTo : last;
        }

        public void Observe(Observation observation)
        {
            var at = observation.Stamp.At;
            var (next, ended, accounted) = TimelineStep.Apply(timeline, observation, plan);
            (day, var corrected) = (day ?? DayLedger.Begin(at, plan)).Add(timeline, next, observation, ended, accounted, plan);
            (timeline, newest) = (next, observation);
            tickedTo = tickedTo > Minute(at) ? tickedTo : Minute(at);
            runs = ended is null ? runs : runs.Add(ended);
            days = corrected is null ? days : days.Add(corrected);
            Evaluate(at);
        }

        public Judged Done() => new(new(timeline, rules, day, newest, tickedTo, wakeAt), [.. findings], runs, days);

        private void Evaluate(DateTimeOffset now)
        {
            while (day is not null && day.End <= now)
            {
                (day, var closed) = day.Close(timeline, plan);
                days = days.Add(closed);
            }

            (rules, var wake) = RuleBook.Evaluate(rules, slots, new(plan, timeline, now), findings);

            // A wake time not after now would turn the minutes into an endless loop; the next minute asks again.
            wakeAt = Moments.Earlier(wake <= now ? now.AddTicks(1) : wake, day?.End);
        }
    }
}
