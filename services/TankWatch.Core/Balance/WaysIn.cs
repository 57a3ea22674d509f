using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Balance;

/// <summary>
/// The ways in which water comes into a tank: each pump that feeds it on its own, and, where its riser serves others too, shared with one
/// of them that takes water.
/// </summary>
internal static class WaysIn
{
    /// <returns>How many there are, at most <see cref="Inflows.Most"/>.</returns>
    public static int Count(SitePlan plan, int tank)
    {
        var count = 0;
        foreach (var pump in plan.Pumps)
        {
            count += !pump.To.Contains(tank) ? 0 : pump.To.Length > 1 ? 2 : 1;
        }

        return Math.Min(count, Inflows.Most);
    }

    /// <returns>The first way of the pump into the tank: on its own; the next is shared. May be past the last that is told apart.</returns>
    public static int First(SitePlan plan, int tank, int pump)
    {
        var first = 0;
        foreach (var other in plan.Pumps)
        {
            if (other.Index == pump)
            {
                break;
            }

            first += !other.To.Contains(tank) ? 0 : other.To.Length > 1 ? 2 : 1;
        }

        return first;
    }

    /// <summary>
    /// Stands among the ways for a full tank on a riser that still serves another: its float valve lets in what people draw, and how much that is nobody sees.
    /// </summary>
    public const int ToppedUp = 1 << Inflows.Most;

    /// <returns>Bit by bit the ways that carry water now; null when that is not known.</returns>
    public static int? Flowing(SiteTimeline timeline, SitePlan plan, int tank)
    {
        var flowing = 0;
        foreach (var pump in plan.Pumps)
        {
            if (!pump.To.Contains(tank))
            {
                continue;
            }

            if (timeline.Pumps[pump.Index].Running is not { } running)
            {
                return null;
            }

            if (running && pump.To.Length > 1 && timeline.Tanks[tank].FullSince is not null)
            {
                flowing |= ToppedUp;
            }
            else if (running)
            {
                var way = First(plan, tank, pump.Index) + (IsShared(timeline, pump, tank) ? 1 : 0);
                if (way >= Inflows.Most)
                {
                    return null;
                }

                flowing |= 1 << way;
            }
        }

        return flowing;
    }

    private static bool IsShared(SiteTimeline timeline, Pump pump, int tank)
    {
        foreach (var other in pump.To)
        {
            if (other != tank && timeline.Tanks[other].FullSince is null)
            {
                return true;
            }
        }

        return false;
    }
}
