using TankWatch.Core.Balance;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Supply;

/// <summary>How much water stands where between two crossings, and how long it lasts.</summary>
internal static class Outlook
{
    /// <summary>What an overhead tank holds, litres, the fire reserve included.</summary>
    /// <returns>Null while nothing was learnt of its use, or its probes do not tell.</returns>
    public static Estimate? Content(SiteTimeline timeline, SitePlan plan, int index, DateTimeOffset now)
    {
        var (tank, water) = (plan.Tanks[index], timeline.Tanks[index]);
        if (water is not { Balance: { Filter: { } filter, Anchor: var anchor } balance, DisorderSince: null } || water.Bounds(tank) is not var (low, high))
        {
            return null;
        }

        if (anchor.Probe < 0)
        {
            return new((low + high) / 2, low, high);
        }

        var on = anchor.On;
        for (var way = 0; way < filter.Columns; way++)
        {
            on[way] += anchor.Still(way, now);
        }

        var (left, spread) = BalanceAccount.Leaving(balance, plan.TimeZone, new(anchor.At, TimeSpan.Zero), now);
        var (came, doubt) = BalanceAccount.Delivered(filter, balance.Doubt, on);
        var own = BalanceModel.RunSpread * came;
        var litres = tank.Probes[anchor.Probe].Volume.Value + came - left;
        var half = BalanceAccount.Ninety * Math.Sqrt(spread + (doubt * doubt) + (own * own));
        return new(Math.Clamp(litres, low, high), Math.Clamp(litres - half, low, high), Math.Clamp(litres + half, low, high));
    }

    /// <summary>What a sump holds above its cut-out probe if nothing came in since a probe was passed, litres.</summary>
    /// <returns>Null while that is not known.</returns>
    public static double? Drawable(SiteTimeline timeline, SitePlan plan, int index, DateTimeOffset now)
    {
        var (sump, water) = (plan.Tanks[index], timeline.Tanks[index]);
        if (water.Bounds(sump) is not var (low, high) || water.Supply is not { Anchor: { Probe: >= 0 } anchor }
            || SumpObserver.Drawn(timeline, plan, index, anchor, now) is not { } drawn)
        {
            return null;
        }

        var left = Math.Clamp(sump.Probes[anchor.Probe].Volume.Value - drawn, low, high);
        return Math.Max(0, left - sump.Probes[0].Volume.Value);
    }

    /// <summary>What people who live from a sump will have to do without until a moment if nothing comes in, litres; negative when it lasts.</summary>
    /// <returns>Null while that is not known, or where another source feeds them too.</returns>
    public static Estimate? Lacking(SiteTimeline timeline, SitePlan plan, int sump, DateTimeOffset now, DateTimeOffset until)
    {
        if (Drawable(timeline, plan, sump, now) is not { } drawable)
        {
            return null;
        }

        var (need, variance, held) = (0.0, 0.0, new Estimate(drawable, drawable, drawable));
        foreach (var tank in plan.Tanks)
        {
            if (!IsFedBy(plan, sump, tank.Index))
            {
                continue;
            }

            if (IsFedByOthers(plan, sump, tank.Index) || Content(timeline, plan, tank.Index, now) is not { } content)
            {
                return null;
            }

            var (litres, doubt) = BalanceAccount.Leaving(timeline.Tanks[tank.Index].Balance!, plan.TimeZone, now, until);
            (need, variance, held) = (need + litres, variance + doubt, held + AboveReserve(content, tank));
        }

        var half = BalanceAccount.Ninety * Math.Sqrt(variance);
        return need == 0 ? null : new(need - held.Value, need - half - held.High, need + half - held.Low);
    }

    /// <summary>Hours until an overhead tank is down to its fire reserve if nothing comes in.</summary>
    /// <param name="timeline">What is known.</param>
    /// <param name="plan">What is installed.</param>
    /// <param name="index">Of the tank.</param>
    /// <param name="more">Litres that can still be lifted into it, at least 0.</param>
    /// <param name="now">UTC.</param>
    /// <param name="sureness">How many standard deviations the bounds stand off.</param>
    /// <returns>Null while nothing was learnt of its use, or it lasts longer than can be told.</returns>
    public static Estimate? HoursToEmpty(
        SiteTimeline timeline, SitePlan plan, int index, double more, DateTimeOffset now, double sureness = BalanceAccount.Ninety)
    {
        if (Content(timeline, plan, index, now) is not { } content)
        {
            return null;
        }

        var (balance, scale) = (timeline.Tanks[index].Balance!, sureness / BalanceAccount.Ninety);
        content = new(content.Value, content.Value - (scale * (content.Value - content.Low)), content.Value + (scale * (content.High - content.Value)));
        var usable = AboveReserve(content, plan.Tanks[index]) + new Estimate(more, more, more);
        return Demand.HoursToEmpty(usable, sureness, hours => BalanceAccount.Leaving(balance, plan.TimeZone, now, now.AddHours(hours)));
    }

    public static bool IsFedBy(SitePlan plan, int sump, int tank) => plan.Pumps.Any(pump => pump.From == sump && pump.To.Contains(tank));

    private static bool IsFedByOthers(SitePlan plan, int sump, int tank) => plan.Pumps.Any(pump => pump.From != sump && pump.To.Contains(tank));

    private static Estimate AboveReserve(Estimate content, Tank tank) => new(
        Math.Max(0, content.Value - tank.FireReserve.Value), Math.Max(0, content.Low - tank.FireReserve.Value), Math.Max(0, content.High - tank.FireReserve.Value));
}
