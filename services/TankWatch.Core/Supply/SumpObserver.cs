using System.Numerics;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Supply;

/// <summary>Notes how high a sump stands by the hours of its days, and what pumps draw from it between two crossings.</summary>
internal static class SumpObserver
{
    /// <param name="was">Before the observation.</param>
    /// <param name="now">After it, supplies not yet.</param>
    /// <param name="observation">Of a level or a pump.</param>
    /// <param name="ended">The run it ended, if any.</param>
    /// <param name="plan">What is installed.</param>
    public static SiteTimeline Apply(SiteTimeline was, SiteTimeline now, Observation observation, PumpRun? ended, SitePlan plan)
    {
        switch (observation)
        {
            case LevelObservation level when plan.Tanks[level.Tank] is { Role: TankRole.Sump, Probes.Length: > 1 } sump:
                var (before, after) = (was.Tanks[sump.Index], now.Tanks[sump.Index]);
                var known = before.Supply ?? new();
                var drawn = before.Wet == after.Wet ? null : Drawn(now, plan, sump.Index, known.Anchor, level.Stamp.At);
                var next = Level(known, before, after, sump, level.Stamp.At, plan, drawn);
                return ReferenceEquals(next, before.Supply) ? now : now.With(sump.Index, after with { Supply = next });
            case PumpObservation pump when ended is not null && plan.Pumps[pump.Pump].From is { } from && now.Tanks[from].Supply is { Anchor.Probe: >= 0 } supply:
                return now.With(from, now.Tanks[from] with { Supply = supply with { Anchor = Ended(supply.Anchor, ended) } });
            default:
                return now;
        }
    }

    /// <summary>Litres that pumps drew from a sump since it was known where its water stood; null while a delivery is not known.</summary>
    public static double? Drawn(SiteTimeline timeline, SitePlan plan, int sump, in SumpAnchor anchor, DateTimeOffset now)
    {
        var drawn = anchor.Drawn;
        foreach (var pump in plan.Pumps)
        {
            if (pump.From == sump && timeline.Pumps[pump.Index] is { Run: { } run, Deliveries: var deliveries })
            {
                var since = Math.Max(run.StartedAt.UtcTicks, anchor.At);
                drawn += Math.Max(0, now.UtcTicks - since) / (double)TimeSpan.TicksPerMinute * deliveries.Median;
            }
        }

        return drawn;
    }

    private static SumpSupply Level(
        SumpSupply supply, TankTimeline before, TankTimeline after, Tank sump, DateTimeOffset at, SitePlan plan, double? drawn)
    {
        if (after.Wet is not { } wet || after.DisorderSince is not null)
        {
            return supply.Anchor == SumpAnchor.None ? supply : supply with { Anchor = SumpAnchor.None };
        }

        var isTimed = before is { Wet: not null, DisorderSince: null, SeenAt: { } seen } && at - seen <= SiteTimeline.WordHolds;
        var (stood, stands) = (isTimed ? BitOperations.TrailingZeroCount(~before.Wet!.Value) : 0, BitOperations.TrailingZeroCount(~wet));
        var offset = plan.TimeZone.GetUtcOffset(at).Ticks;
        if (isTimed)
        {
            supply = Reach(supply, (before.SeenAt!.Value.UtcTicks + offset) / TimeSpan.TicksPerHour, (at.UtcTicks + offset) / TimeSpan.TicksPerHour, stood, sump);
        }

        supply = Reach(supply, (at.UtcTicks + offset) / TimeSpan.TicksPerHour, (at.UtcTicks + offset) / TimeSpan.TicksPerHour, stands, sump);
        if (!isTimed)
        {
            return supply.Anchor == SumpAnchor.None ? supply : supply with { Anchor = SumpAnchor.None };
        }

        if (stood == stands)
        {
            return supply;
        }

        var (hour, passed) = ((int)((at.UtcTicks + offset) / TimeSpan.TicksPerHour % DayReach.Hours), Math.Min(stands, stood));
        var isFall = stands < stood && passed == SupplyTimes.ProbeOf(plan, supply, sump.Index);
        return supply with
        {
            Today = stands > stood ? supply.Today.Rising(hour) : supply.Today,
            Anchor = Math.Abs(stands - stood) == 1 ? new(passed, at.UtcTicks, 0, isFall ? 0 : supply.Anchor.Before + drawn) : SumpAnchor.None,
        };
    }

    /// <summary>Notes that so many probes were wet in each hour from one to another, counted from the calendar's first.</summary>
    private static SumpSupply Reach(SumpSupply supply, long from, long to, int wet, Tank sump)
    {
        for (var hour = from; hour <= to; hour++)
        {
            var day = hour / DayReach.Hours;
            supply = day <= supply.Day ? supply : supply.Turn(day, sump.Probes.Length);
            var today = supply.Today.Reaching((int)(hour % DayReach.Hours), wet);
            today = wet < Math.Min(2, sump.Probes.Length - 1) && !today.RanLow ? today.RunningLow() : today;
            supply = today == supply.Today ? supply : supply with { Today = today };
        }

        return supply;
    }

    private static SumpAnchor Ended(SumpAnchor anchor, PumpRun run)
    {
        var (start, stop) = (run.StartedAt.UtcTicks, run.StoppedAt!.Value.UtcTicks);
        var share = Math.Clamp((stop - anchor.At) / (double)(stop - start), 0, 1);
        return anchor with { Drawn = run.Delivered is { } litres ? anchor.Drawn + (share * litres.Value) : null };
    }
}
