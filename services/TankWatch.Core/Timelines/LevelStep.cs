using System.Collections.Immutable;
using System.Numerics;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Timelines;

/// <summary>What a reading of a tank's probes adds to the timeline: crossings, fills, drains, and signs that a probe lies.</summary>
internal static class LevelStep
{
    private static readonly TimeSpan FlipsKept = TimeSpan.FromHours(1);

    // A flow that no draw and no pump of a building makes: the whole tank within ten minutes.
    private const double TankfulMinutes = 10;

    public static SiteTimeline Apply(SiteTimeline timeline, LevelObservation level, SitePlan plan, bool isNextWord)
    {
        var (tank, was, at) = (plan.Tanks[level.Tank], timeline.Tanks[level.Tank], level.Stamp.At);
        if (LosesCommon(tank, was, level, isNextWord))
        {
            return timeline.With(level.Tank, was with
            {
                Wet = null, SeenAt = at, CommonLostSince = was.CommonLostSince ?? at,
                EmptySince = null, FullSince = null, DisorderSince = null, Filling = null, Draining = null,
            });
        }

        // After a silence the crossings happened at unknown times: the reading stands, but times nothing.
        var isTimed = was.Wet is not null && was.SeenAt is { } seen && at - seen <= SiteTimeline.WordHolds;
        var next = Read(tank, was, level.Wet, at);
        var changed = isTimed ? was.Wet!.Value ^ level.Wet : 0;
        if (changed == 0)
        {
            next = isTimed ? next : next with { Filling = null, Draining = null };
            return Released(timeline.With(level.Tank, next), tank, next, plan);
        }

        var single = BitOperations.PopCount((uint)changed) == 1;
        var crossing = new Crossing(BitOperations.Log2((uint)changed), at, (level.Wet & changed) != 0);
        next = next with
        {
            Probes = MoveProbes(next, changed, at),
            Last = crossing,
            LastProbe = crossing.Probe,
            LastProbeStreak = single && crossing.Probe == was.LastProbe ? was.LastProbeStreak + 1 : 1,
        };
        next = CountFlip(next, crossing);
        timeline = Pass(timeline, tank, next, single ? crossing : null, plan);
        return Released(timeline, tank, timeline.Tanks[tank.Index], plan);
    }

    /// <summary>All probes dry at once: the common electrode is lost if no draw could have been so fast.</summary>
    private static bool LosesCommon(Tank tank, TankTimeline was, LevelObservation level, bool isNextWord)
    {
        if (level.Wet != 0)
        {
            return false;
        }

        if (was.CommonLostSince is not null)
        {
            return true;
        }

        if (was.Wet is not { } wet || BitOperations.PopCount((uint)wet) < 2 || was.SeenAt is not { } seen)
        {
            return false;
        }

        // A unit reports each change, so two probes dry in one word, with no word lost between, is no surface going down.
        var fell = tank.Probes[BitOperations.Log2((uint)wet)].Volume.Value - tank.Probes[0].Volume.Value;
        return isNextWord || fell > (level.Stamp.At - seen).TotalMinutes * tank.Capacity.Value / TankfulMinutes;
    }

    private static TankTimeline Read(Tank tank, TankTimeline was, int wet, DateTimeOffset at)
    {
        var (isEmpty, isFull) = ((wet & 1) == 0, (wet & (1 << (tank.Probes.Length - 1))) != 0);
        if (tank.Probes.IsEmpty)
        {
            return was with { SeenAt = at, Wet = 0 };
        }

        return was with
        {
            Wet = wet,
            SeenAt = at,
            CommonLostSince = null,
            EmptySince = isEmpty ? was.EmptySince ?? at : null,
            FullSince = isFull ? was.FullSince ?? at : null,
            DisorderSince = (wet & (wet + 1)) != 0 ? was.DisorderSince ?? at : null,
            Calling = isEmpty || (was.Calling && !isFull),
        };
    }

    private static ImmutableArray<ProbeTimeline> MoveProbes(TankTimeline tank, int changed, DateTimeOffset at)
    {
        var probes = tank.Probes.ToBuilder();
        for (var i = 0; i < probes.Count; i++)
        {
            var probe = probes[i];
            if ((changed & (1 << i)) != 0)
            {
                probes[i] = probe with { ChangedAt = at, LowerMoved = false, UpperMoved = false, PassedBy = 0 };
                continue;
            }

            var lower = probe.LowerMoved || (i > 0 && (changed & (1 << (i - 1))) != 0);
            var upper = probe.UpperMoved || (i < probes.Count - 1 && (changed & (1 << (i + 1))) != 0);
            if (lower && upper)
            {
                probes[i] = probe with { LowerMoved = false, UpperMoved = false, PassedBy = probe.PassedBy + 1 };
            }
            else if (lower != probe.LowerMoved || upper != probe.UpperMoved)
            {
                probes[i] = probe with { LowerMoved = lower, UpperMoved = upper };
            }
        }

        return probes.DrainToImmutable();
    }

    /// <remarks>
    /// A healthy surface makes a probe change twice alone at most: dry then wet as the pump starts at the lowest, wet then dry as a
    /// draw follows the stop at the highest. A third time in a row is ripple or a bad contact.
    /// </remarks>
    private static TankTimeline CountFlip(TankTimeline tank, Crossing crossing)
    {
        if (tank.LastProbeStreak < 3)
        {
            return tank;
        }

        var probe = tank.Probes[crossing.Probe];
        return tank with { Probes = tank.Probes.SetItem(crossing.Probe, probe with { Flips = probe.Flips.Add(crossing.At, FlipsKept) }) };
    }

    /// <summary>Carries the crossing into the fill or drain in progress; null breaks both.</summary>
    private static SiteTimeline Pass(SiteTimeline timeline, Tank tank, TankTimeline next, Crossing? crossing, SitePlan plan)
    {
        var (running, resting) = PumpsOf(timeline, tank, plan);
        if (crossing is not { } now)
        {
            return timeline.With(tank.Index, next with { Filling = null, Draining = null });
        }

        if (now.Rising && running is { } pump)
        {
            var alone = !plan.Pumps[pump].To.Any(other => other != tank.Index && timeline.Tanks[other] is { FullSince: null });
            timeline = timeline.With(pump, PumpStep.Rise(timeline.Pumps[pump], plan.Pumps[pump], tank.Index, now));
            return timeline.With(tank.Index, next with
            {
                Filling = alone ? now : null, Draining = null, Fills = alone ? Filled(next, now) : next.Fills,
            });
        }

        if (!now.Rising && resting)
        {
            return timeline.With(tank.Index, next with { Filling = null, Draining = now, Draw = Drawn(tank, next, now) ?? next.Draw });
        }

        return timeline.With(tank.Index, next with { Filling = null, Draining = null });
    }

    /// <returns>The one pump that runs into the tank, if exactly one does; and whether all its pumps are known to rest.</returns>
    private static (int? Running, bool Resting) PumpsOf(SiteTimeline timeline, Tank tank, SitePlan plan)
    {
        int? running = null;
        var (count, resting) = (0, true);
        foreach (var pump in plan.Pumps)
        {
            if (pump.To.Contains(tank.Index))
            {
                var state = timeline.Pumps[pump.Index].Running;
                resting &= state == false;
                if (state == true)
                {
                    (running, count) = (pump.Index, count + 1);
                }
            }
        }

        return (count == 1 ? running : null, resting);
    }

    private static ImmutableArray<PairFills> Filled(TankTimeline tank, Crossing now)
    {
        if (tank.Filling is not { } before || before.Probe != now.Probe - 1)
        {
            return tank.Fills;
        }

        var seconds = (now.At - before.At).TotalSeconds;
        return seconds > 0 ? tank.Fills.SetItem(before.Probe, tank.Fills[before.Probe].Add(seconds, before.At)) : tank.Fills;
    }

    private static double? Drawn(Tank tank, TankTimeline next, Crossing now)
    {
        if (next.Draining is not { } before || before.Probe != now.Probe + 1 || now.At <= before.At)
        {
            return null;
        }

        return (tank.Probes[before.Probe].Volume.Value - tank.Probes[now.Probe].Volume.Value) / (now.At - before.At).TotalMinutes;
    }

    /// <summary>A sump back at its restart probe lets its pumps start again.</summary>
    private static SiteTimeline Released(SiteTimeline timeline, Tank sump, TankTimeline now, SitePlan plan)
    {
        if (sump.Role != TankRole.Sump || sump.Probes.IsEmpty || !now.IsWet(Math.Min(1, sump.Probes.Length - 1)))
        {
            return timeline;
        }

        foreach (var pump in plan.Pumps)
        {
            if (pump.From == sump.Index && timeline.Pumps[pump.Index].CutOutAt is not null)
            {
                timeline = timeline.With(pump.Index, timeline.Pumps[pump.Index] with { CutOutAt = null });
            }
        }

        return timeline;
    }
}
