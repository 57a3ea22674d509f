using System.Collections.Immutable;
using System.Numerics;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Balance;

/// <summary>Turns observations into passages: follows which pumps run, and closes a passage at each crossing whose time is known.</summary>
internal static class BalanceObserver
{
    /// <summary>Within this a surface that comes back to a probe only ripples, or a first draw follows the stop at the top.</summary>
    private static readonly TimeSpan Ripple = TimeSpan.FromMinutes(30);

    /// <summary>A pump that runs on this long at the top may be filling the overflow.</summary>
    private static readonly TimeSpan RunsOn = TimeSpan.FromMinutes(3);

    // People draw from what is below the lowest probe until nothing is left; past this share of it nobody knows whether they got any.
    private const double DryShare = 0.25;

    /// <param name="was">Before the observation.</param>
    /// <param name="now">After it, balances not yet.</param>
    /// <param name="observation">Of a level or a pump.</param>
    /// <param name="plan">What is installed.</param>
    public static (SiteTimeline Next, ImmutableArray<Accounted> Accounted) Apply(
        SiteTimeline was, SiteTimeline now, Observation observation, SitePlan plan) => observation switch
        {
            PumpObservation pump when was.Pumps[pump.Pump].Running != pump.Running => (Switched(now, pump, plan), []),
            LevelObservation level when plan.Tanks[level.Tank].Role == TankRole.Overhead => Level(was, now, level, plan),
            _ => (now, []),
        };

    private static SiteTimeline Switched(SiteTimeline now, PumpObservation seen, SitePlan plan)
    {
        foreach (var tank in plan.Pumps[seen.Pump].To)
        {
            var anchor = now.Tanks[tank].Balance?.Anchor ?? Anchor.None;
            if (seen.Running)
            {
                var first = WaysIn.First(plan, tank, seen.Pump);
                var run = anchor.Run;
                for (var way = first; way < Math.Min(first + 2, Inflows.Most); way++)
                {
                    run[way] = 0;
                }

                anchor = Unseen(Flow(anchor, now, tank, plan, seen.Stamp.At) with { Run = run });
                anchor = anchor with { LowVoltage = anchor.LowVoltage || now.Pumps[seen.Pump].IsLowVoltage };
            }
            else
            {
                anchor = Flow(anchor, now, tank, plan, seen.Stamp.At);
            }

            now = With(now, tank, anchor);
        }

        return now;
    }

    private static (SiteTimeline Next, ImmutableArray<Accounted> Accounted) Level(
        SiteTimeline was, SiteTimeline now, LevelObservation level, SitePlan plan)
    {
        var (before, after, at) = (was.Tanks[level.Tank], now.Tanks[level.Tank], level.Stamp.At);
        if (before.FullSince is null != after.FullSince is null)
        {
            now = OthersFlow(now, level.Tank, at, plan);
        }

        var anchor = after.Balance?.Anchor ?? Anchor.None;
        if (!IsTimed(before, after, at) || WaysIn.Flowing(now, plan, level.Tank) is null || !PumpsAreKnown(now, plan, level.Tank, at))
        {
            return (anchor.Probe < 0 ? now : With(now, level.Tank, Flow(anchor, now, level.Tank, plan, at) with { Probe = -1 }), []);
        }

        var changed = before.Wet!.Value ^ after.Wet!.Value;
        if (changed == 0)
        {
            return (now, []);
        }

        anchor = Flow(anchor, now, level.Tank, plan, at);
        if (BitOperations.PopCount((uint)changed) > 1)
        {
            return (With(now, level.Tank, anchor with { Probe = -1 }), []);
        }

        return Cross(now, level.Tank, anchor, BitOperations.Log2((uint)changed), (after.Wet.Value & changed) == 0, at, plan);
    }

    private static (SiteTimeline Next, ImmutableArray<Accounted> Accounted) Cross(
        SiteTimeline now, int index, Anchor anchor, int probe, bool falling, DateTimeOffset at, SitePlan plan)
    {
        var balance = now.Tanks[index].Balance ?? new();
        var isRipple = anchor.Probe == probe && at.UtcTicks - anchor.At < Ripple.Ticks;
        var next = isRipple ? anchor : anchor with
        {
            Probe = (anchor.Flowing & WaysIn.ToppedUp) == 0 ? probe : -1, Falling = falling, At = at.UtcTicks, On = default, DryHours = 0, LowVoltage = false,
        };
        next = next with { DrySince = !falling || probe > 0 ? 0 : anchor.Flowing == 0 ? at.UtcTicks : 0 };
        if (isRipple || anchor.Probe < 0)
        {
            return (With(now, index, balance with { Anchor = next }), []);
        }

        var passage = new Passage(
            anchor.Probe, probe, anchor.Falling, falling, new(anchor.At, TimeSpan.Zero), at, anchor.On, anchor.LowVoltage || RunsLow(now, plan, index));
        if (!TellsOfUse(balance, anchor, passage, plan.Tanks[index]))
        {
            return (With(now, index, balance with { Anchor = next }), []);
        }

        balance = BalanceStep.Learn(balance with { Anchor = next }, passage, plan.Tanks[index], WaysIn.Count(plan, index), plan);
        now = With(now, index, balance);
        return (now, BalanceAccount.Of(balance, index, passage, plan.Tanks[index]) is { } accounted ? [accounted] : []);
    }

    private static bool TellsOfUse(TankBalance balance, in Anchor anchor, in Passage passage, Tank tank)
    {
        var ranOn = passage.From == tank.Probes.Length - 1 && !passage.FromFalling && passage.OnHours > RunsOn.TotalHours;
        var use = balance.Filter?.MeanUse ?? 0;
        return passage.End > passage.Start && !ranOn && anchor.DryHours * use <= DryShare * tank.Probes[0].Volume.Value;
    }

    private static bool RunsLow(SiteTimeline now, SitePlan plan, int tank)
    {
        foreach (var pump in plan.Pumps)
        {
            if (pump.To.Contains(tank) && now.Pumps[pump.Index] is { Running: true, IsLowVoltage: true })
            {
                return true;
            }
        }

        return false;
    }

    /// <summary>Neither a silence nor a lying probe hides when the surface passed.</summary>
    private static bool IsTimed(TankTimeline before, TankTimeline after, DateTimeOffset at) =>
        before is { Wet: not null, DisorderSince: null, SeenAt: { } seen } && after is { Wet: not null, DisorderSince: null }
        && at - seen <= SiteTimeline.WordHolds;

    private static bool PumpsAreKnown(SiteTimeline now, SitePlan plan, int tank, DateTimeOffset at)
    {
        foreach (var pump in plan.Pumps)
        {
            if (pump.To.Contains(tank) && !(now.PumpKnownUntil(plan, pump.Index) > at))
            {
                return false;
            }
        }

        return true;
    }

    private static SiteTimeline OthersFlow(SiteTimeline now, int tank, DateTimeOffset at, SitePlan plan)
    {
        foreach (var pump in plan.Pumps)
        {
            if (pump.To.Length < 2 || !pump.To.Contains(tank))
            {
                continue;
            }

            foreach (var other in pump.To)
            {
                if (other != tank && now.Tanks[other].Balance is { } balance)
                {
                    now = With(now, other, Flow(balance.Anchor, now, other, plan, at));
                }
            }
        }

        return now;
    }

    /// <summary>A passage in which the tank is topped up from full ends nowhere.</summary>
    private static Anchor Unseen(Anchor anchor) => (anchor.Flowing & WaysIn.ToppedUp) == 0 ? anchor : anchor with { Probe = -1 };

    /// <summary>Counts what flowed until now, and notes what flows from now on.</summary>
    private static Anchor Flow(Anchor anchor, SiteTimeline now, int tank, SitePlan plan, DateTimeOffset at)
    {
        var flowing = WaysIn.Flowing(now, plan, tank);
        var (on, run) = (anchor.On, anchor.Run);
        for (var way = 0; way < Inflows.Most; way++)
        {
            var hours = anchor.Still(way, at);
            on[way] += hours;
            run[way] += hours;
        }

        var dry = anchor.DrySince == 0 ? 0 : Math.Max(0, at.UtcTicks - anchor.DrySince) / (double)TimeSpan.TicksPerHour;
        var isDry = now.Tanks[tank].EmptySince is not null && flowing == 0;
        return anchor with
        {
            Probe = flowing is null ? -1 : anchor.Probe,
            On = on,
            Run = run,
            Flowing = flowing ?? 0,
            FlowingSince = at.UtcTicks,
            DryHours = anchor.DryHours + dry,
            DrySince = isDry ? at.UtcTicks : 0,
        };
    }

    private static SiteTimeline With(SiteTimeline now, int tank, Anchor anchor) =>
        anchor == Anchor.None && now.Tanks[tank].Balance is null ? now : With(now, tank, (now.Tanks[tank].Balance ?? new()) with { Anchor = anchor });

    private static SiteTimeline With(SiteTimeline now, int tank, TankBalance balance) => now.With(tank, now.Tanks[tank] with { Balance = balance });
}
