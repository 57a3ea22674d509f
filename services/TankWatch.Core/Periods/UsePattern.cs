using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Periods;

/// <summary>What people draw from all overhead tanks in each hour of the local day, as the crossings have taught it; a leak is no part of it.</summary>
/// <param name="Weekday">Monday to Friday, 24 hours from midnight, litres per hour.</param>
/// <param name="Weekend">Saturday and Sunday, likewise.</param>
public sealed record UsePattern(ImmutableArray<Estimate> Weekday, ImmutableArray<Estimate> Weekend)
{
    /// <returns>Null until every overhead tank has told enough.</returns>
    public static UsePattern? Of(SiteTimeline timeline, SitePlan plan)
    {
        var filters = plan.Tanks.Where(tank => tank.Role == TankRole.Overhead).Select(tank => timeline.Tanks[tank.Index].Balance?.Filter).ToList();
        return filters.Count == 0 || filters.Contains(null) ? null : new(Hours(false), Hours(true));

        ImmutableArray<Estimate> Hours(bool weekend) =>
            [.. Enumerable.Range(0, BalanceModel.Hours).Select(hour => filters.Select(filter => Of(filter!, hour, weekend)).Aggregate(Estimate.Add))];
    }

    private static Estimate Of(BalanceFilter filter, int hour, bool weekend)
    {
        var block = BalanceFilter.WeekendOf(hour);
        var level = Math.Max(0, 1 + filter.Mean[BalanceFilter.Slow]);
        var factor = level * (weekend ? Math.Max(0, 1 + filter.Mean[block]) : 1);
        var (use, doubt) = (Math.Max(0, filter.Mean[hour]), weekend ? filter.Spread(block) : 0);
        var half = BalanceAccount.Ninety * Math.Sqrt(Math.Pow(filter.Spread(hour) * factor, 2) + Math.Pow(use * level * doubt, 2));
        return new(use * factor, Math.Max(0, (use * factor) - half), (use * factor) + half);
    }
}
