using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Balance;

/// <summary>What one run delivered, from what all passages so far tell of the pump.</summary>
internal static class RunBalance
{
    /// <returns>Null while a tank it served has not told enough.</returns>
    public static RunFlow? Of(RunInProgress run, Pump pump, SiteTimeline timeline, SitePlan plan, DateTimeOffset at)
    {
        var (litres, deviation, own, minutes) = (0.0, 0.0, 0.0, (at - run.StartedAt).TotalMinutes);
        if (minutes <= 0)
        {
            return null;
        }

        foreach (var tank in pump.To)
        {
            if (timeline.Tanks[tank].Balance is not { Filter: { } filter, Anchor: var anchor, Doubt: var scale })
            {
                return null;
            }

            var first = WaysIn.First(plan, tank, pump.Index);
            for (var way = first; way < Math.Min(filter.Columns, first + (pump.To.Length > 1 ? 2 : 1)); way++)
            {
                var hours = anchor.Run[way] + anchor.Still(way, at);
                var delivery = filter.Mean[BalanceFilter.Inflow + way];
                litres += hours * delivery;
                deviation += hours * Math.Sqrt(scale) * filter.Spread(BalanceFilter.Inflow + way);
                own += Math.Pow(hours * delivery * BalanceModel.RunSpread, 2);
            }
        }

        if (litres <= 0)
        {
            return null;
        }

        var half = BalanceAccount.Ninety * deviation;
        return new(new Estimate(litres, litres - half, litres + half) * (1 / minutes), Math.Sqrt(own) / minutes);
    }
}
