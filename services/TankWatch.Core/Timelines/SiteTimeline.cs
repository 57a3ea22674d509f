using System.Collections.Immutable;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Timelines;

/// <summary>What the ordered observations of a site say, up to a moment.</summary>
public sealed record SiteTimeline(
    ImmutableArray<TankTimeline> Tanks, ImmutableArray<PumpTimeline> Pumps, ImmutableArray<UnitTimeline> Units)
{
    /// <summary>
    /// How long a unit's word holds. It promises one at least hourly; a quarter more allows for a slow one before what it reports
    /// counts as unknown.
    /// </summary>
    public static readonly TimeSpan WordHolds = TimeSpan.FromMinutes(75);

    public static SiteTimeline Start(SitePlan plan) => new(
        [.. plan.Tanks.Select(TankTimeline.Unseen)],
        [.. plan.Pumps.Select(_ => new PumpTimeline())],
        [.. plan.Units.Select(_ => UnitTimeline.Unheard)]);

    /// <summary>Until when the tank's last reading holds; null when nobody reports it or nothing was heard yet.</summary>
    public DateTimeOffset? TankKnownUntil(SitePlan plan, int tank)
    {
        foreach (var unit in plan.Units)
        {
            if (unit.Tanks.Contains(tank))
            {
                return WordOf(unit);
            }
        }

        return null;
    }

    /// <summary>Until when the pump's last state holds; null when nobody reports it or nothing was heard yet.</summary>
    public DateTimeOffset? PumpKnownUntil(SitePlan plan, int pump)
    {
        foreach (var unit in plan.Units)
        {
            if (unit.Pumps.Contains(pump))
            {
                return WordOf(unit);
            }
        }

        return null;
    }

    private DateTimeOffset? WordOf(FieldUnit unit) => Units[unit.Index].LastTicks is not 0 and var last ? new(last + WordHolds.Ticks, TimeSpan.Zero) : null;
}
