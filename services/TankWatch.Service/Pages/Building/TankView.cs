using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Building;

/// <summary>A tank's water in words.</summary>
/// <param name="Id">The tank's.</param>
/// <param name="Role">"sump" or "overhead tank".</param>
/// <param name="Holds">What it holds, as one sentence.</param>
/// <param name="SeenAt">When its probes last spoke; null where they never did.</param>
/// <param name="IsStale">The word is older than what its unit promised.</param>
/// <param name="EmptySince">Since when its lowest probe is dry.</param>
/// <param name="BelowToday">How long it was below its lowest probe today; null where not known or never.</param>
/// <param name="Distrust">The alert that says that its probes cannot be right.</param>
/// <param name="Reserve">What is said of a fire reserve; null without one.</param>
public sealed record TankView(
    string Id, string Role, string Holds, DateTimeOffset? SeenAt, bool IsStale, DateTimeOffset? EmptySince, string? BelowToday, string? Distrust, string? Reserve)
{
    /// <param name="site">As it is known.</param>
    /// <param name="tank">One of its tanks.</param>
    /// <param name="belowToday">Seconds below the lowest probe today, if known.</param>
    /// <param name="now">UTC.</param>
    internal static TankView Of(SiteView site, Tank tank, double? belowToday, DateTimeOffset now)
    {
        var water = site.State.Timeline.Tanks[tank.Index];
        var distrust = site.OpenAlerts.FirstOrDefault(alert =>
            alert.Finding is { Kind: FindingKind.ProbeFault, IsOpen: true } && alert.Finding.Device == tank.Id && alert.State != AlertState.Normal);
        return new(
            tank.Id.Value, tank.Role == TankRole.Sump ? "sump" : "overhead tank", Holding(tank, water), water.SeenAt,
            water.SeenAt is not null && !(site.State.Timeline.TankKnownUntil(site.Plan, tank.Index) > now), water.EmptySince,
            belowToday is > 0 ? Amounts.Span(belowToday) : null, distrust?.Id,
            tank.FireReserve.Value > 0 ? $"The fire reserve of {Words.Number(tank.FireReserve.Value)} litres is left out: it is not water to use." : null);
    }

    /// <summary>Never a share of full: probes give bounds, and nothing between them is made up.</summary>
    private static string Holding(Tank tank, TankTimeline water)
    {
        if (tank.Probes.IsEmpty)
        {
            return $"It has no probes: nothing can be known of its water. Full, it holds {Words.Number(tank.Capacity.Value)} litres.";
        }

        if (water.SeenAt is null)
        {
            return "Nothing has been heard of its probes yet.";
        }

        if (water.CommonLostSince is not null || water.Bounds(tank) is not { } bounds)
        {
            return "What it holds is not known: its probes fail, all went dry at once.";
        }

        var low = Words.Number(Math.Max(0, bounds.Low - tank.FireReserve.Value));
        var high = Words.Number(Math.Max(0, bounds.High - tank.FireReserve.Value));
        var above = tank.FireReserve.Value > 0 ? " above the fire reserve" : "";
        return water switch
        {
            { DisorderSince: not null } => $"Its probes contradict each other; whichever is right, it holds between {low} and {high} litres{above}.",
            { EmptySince: not null } => $"It is below its lowest probe: {high} litres or less{above}.",
            { FullSince: not null } => $"It is full: {low} litres or more{above}.",
            _ => $"It holds between {low} and {high} litres{above}.",
        };
    }
}
