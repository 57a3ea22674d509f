using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <summary><c>/alerts</c>: what is and was wrong. What people do about it stands in <see cref="AlertActions"/>.</summary>
internal static class AlertRoutes
{
    public static void MapAlerts(this RouteGroupBuilder api)
    {
        var alerts = api.MapGroup("/alerts").WithTags("Alerts");
        alerts.MapGet("", List).WithName("listAlerts").WithSummary("Alerts, newest first.")
            .WithDescription("'state' is a state of an alert, or 'open' for all but 'normal'; 'from' and 'to' bound raisedAt; 'to' is excluded.")
            .ProducesProblem(StatusCodes.Status404NotFound);
        alerts.MapGet("/{id}", Get).WithName("getAlert").WithSummary("One alert.").ProducesProblem(StatusCodes.Status404NotFound);
        alerts.MapGet("/{id}/events", ListEvents).WithName("listAlertEvents").WithSummary("An alert's life, newest first.")
            .ProducesProblem(StatusCodes.Status404NotFound);
        alerts.MapGet("/{id}/consequences", ListConsequences).WithName("listAlertConsequences")
            .WithSummary("Alerts that this one explains, or last did, by onset.").ProducesProblem(StatusCodes.Status404NotFound);
        alerts.MapAlertStream();
        alerts.MapAlertLoad();
        alerts.MapAlertActions();
    }

    private static Results<Ok<PageJson<AlertJson>>, ProblemHttpResult> List(
        Caller caller, LedgerStore ledger, string? site, string? state, string? kind, string? from, string? to, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem)
            || !Query.TryTime("from", from, out var start, out problem)
            || !Query.TryTime("to", to, out var end, out problem)
            || !TryKind(kind, out var wanted, out problem)
            || !TryState(state, out problem)
            || !TrySite(site, caller, ledger, out var seen, out problem))
        {
            return problem!;
        }

        var filter = new AlertFilter(seen, state, wanted, start, end);
        return TypedResults.Ok(Query.Page([.. ledger.ListAlerts(filter, after, count + 1).Select(AlertJson.Of)], count, alert => alert.Id));
    }

    private static Results<Ok<AlertJson>, ProblemHttpResult> Get(string id, Caller caller, LedgerStore ledger) =>
        Find(id, caller, ledger) is { } alert ? TypedResults.Ok(AlertJson.Of(alert)) : NoAlert();

    private static Results<Ok<PageJson<AlertEventJson>>, ProblemHttpResult> ListEvents(
        string id, Caller caller, LedgerStore ledger, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem))
        {
            return problem;
        }

        if (Find(id, caller, ledger) is not { } alert)
        {
            return NoAlert();
        }

        // Numbered from the first, so that a page stays the same when events are added.
        var numbered = ledger.ListAlertEvents(alert.Id).Select((happened, n) => (Number: n, happened)).Reverse();
        if (after is not null)
        {
            numbered = int.TryParse(after, out var last) ? numbered.Where(e => e.Number < last) : [];
        }

        var page = Query.Page([.. numbered.Take(count + 1)], count, e => e.Number.ToString(System.Globalization.CultureInfo.InvariantCulture));
        return TypedResults.Ok(new PageJson<AlertEventJson>([.. page.Items.Select(e => AlertEventJson.Of(e.happened))], page.Next));
    }

    private static Results<Ok<PageJson<AlertJson>>, ProblemHttpResult> ListConsequences(string id, Caller caller, LedgerStore ledger) =>
        Find(id, caller, ledger) is { } alert
            ? TypedResults.Ok(new PageJson<AlertJson>([.. ledger.ListConsequences(alert.Id).Where(hung => caller.Sees(hung.Site)).Select(AlertJson.Of)], null))
            : NoAlert();

    /// <summary>Null too when the caller may not see it: another's alert does not exist. The outage of an area is seen by whoever sees a site that it explains something of.</summary>
    public static Alert? Find(string id, Caller caller, LedgerStore ledger) => ledger.FindAlert(id) is { } alert
        && (caller.Sees(alert.Site) || (alert.Finding.Kind == FindingKind.AreaOutage && ledger.ListConsequences(id).Any(hung => caller.Sees(hung.Site)))) ? alert : null;

    public static ProblemHttpResult NoAlert() => Problems.NotFound("There is no such alert.");

    /// <param name="asked">Null for all that the caller sees.</param>
    /// <param name="caller">Who asks.</param>
    /// <param name="ledger">Knows the sites.</param>
    /// <param name="site">The only site to show; null for all.</param>
    /// <param name="problem">Null when there is such a site for this caller.</param>
    public static bool TrySite(string? asked, Caller caller, LedgerStore ledger, out SiteId? site, out ProblemHttpResult? problem)
    {
        (site, problem) = (caller.Site, null);
        if (asked is not null && (!SiteRoutes.Visible(asked, caller) || ledger.FindSite(new(asked)) is null))
        {
            problem = SiteRoutes.NoSite();
            return false;
        }

        site = asked is null ? site : new SiteId(asked);
        return true;
    }

    public static bool TryKind(string? name, out FindingKind? kind, out ProblemHttpResult? problem)
    {
        (kind, problem) = (null, null);
        if (name is null)
        {
            return true;
        }

        if (FindingNames.TryParse(name, out var found))
        {
            kind = found;
            return true;
        }

        problem = Problems.BadRequest($"'kind' is one of {string.Join(", ", FindingNames.AllKinds)}.");
        return false;
    }

    private static bool TryState(string? name, out ProblemHttpResult? problem)
    {
        problem = name is null or "open" || AlertNames.FindState(name) is not null
            ? null
            : Problems.BadRequest($"'state' is open or one of {string.Join(", ", Enum.GetValues<AlertState>().Select(AlertNames.Of))}.");
        return problem is null;
    }
}
