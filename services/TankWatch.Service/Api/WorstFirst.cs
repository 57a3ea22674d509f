using TankWatch.Core.Alerts;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Api;

/// <summary>The order in which sites need somebody: the highest priority first, among equals the one that waits longest.</summary>
internal static class WorstFirst
{
    public static List<SiteView> Order(IEnumerable<SiteView> sites) =>
    [
        .. sites.Select(view => (View: view, Worst: Worst(view)))
            .OrderByDescending(site => site.Worst is { } worst ? (int)worst.Finding.Priority : -1)
            .ThenBy(site => site.Worst?.Finding.Since ?? DateTimeOffset.MaxValue)
            .ThenBy(site => site.View.Plan.Id.Value, StringComparer.Ordinal)
            .Select(site => site.View),
    ];

    public static IEnumerable<Alert> Order(IEnumerable<Alert> alerts) =>
        alerts.OrderByDescending(alert => Presses(alert)).ThenByDescending(alert => alert.Finding.Priority).ThenBy(alert => alert.Finding.Since);

    /// <summary>Somebody has to do something: not put aside on purpose, and the condition still holds.</summary>
    public static bool Presses(Alert alert) => alert.State is AlertState.Unacknowledged or AlertState.Acknowledged;

    private static Alert? Worst(SiteView view) =>
        view.OpenAlerts.Where(Presses).OrderByDescending(alert => alert.Finding.Priority).ThenBy(alert => alert.Finding.Since).FirstOrDefault();
}
