using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
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
            tank.Id.Value, Words.Say(tank.Role == TankRole.Sump ? "building.role.sump" : "building.role.tank"), Holding(tank, water), water.SeenAt,
            water.SeenAt is not null && !(site.State.Timeline.TankKnownUntil(site.Plan, tank.Index) > now), water.EmptySince,
            belowToday is > 0 ? Amounts.Span(belowToday) : null, distrust?.Id,
            tank.FireReserve.Value > 0 ? Words.Say("building.tank.reserve", ("litres", Math.Round(tank.FireReserve.Value))) : null);
    }

    /// <summary>Never a share of full: probes give bounds, and nothing between them is made up.</summary>
    private static string Holding(Tank tank, TankTimeline water)
    {
        if (tank.Probes.IsEmpty)
        {
            return Words.Say("building.holds.no-probes", ("litres", Math.Round(tank.Capacity.Value)));
        }

        if (water.SeenAt is null)
        {
            return Words.Say("building.holds.unheard");
        }

        if (water.CommonLostSince is not null || water.Bounds(tank) is not { } bounds)
        {
            return Words.Say("building.holds.lost");
        }

        return Words.Say(
            water switch
            {
                { DisorderSince: not null } => "building.holds.disorder",
                { EmptySince: not null } => "building.holds.empty",
                { FullSince: not null } => "building.holds.full",
                _ => "building.holds.between",
            },
            ("low", Math.Round(Math.Max(0, bounds.Low - tank.FireReserve.Value))), ("high", Math.Round(Math.Max(0, bounds.High - tank.FireReserve.Value))),
            ("reserve", tank.FireReserve.Value > 0 ? Phrase.Of("water.above-reserve") : Phrase.Literal("")));
    }
}
