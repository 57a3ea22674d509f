using System.Globalization;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Core.Contracts;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using TankWatch.Service.Visits;

namespace TankWatch.Service.Api;

/// <summary><c>/sites/{site}/contract</c>, <c>/sites/{site}/visits</c> and <c>/visits</c>: what is promised, and who goes there.</summary>
internal static class VisitRoutes
{
    public static void MapVisits(this RouteGroupBuilder api)
    {
        var contract = api.MapGroup("/sites/{site}/contract").WithTags("Contracts and visits").ProducesProblem(StatusCodes.Status404NotFound);
        contract.MapGet("", GetContract).WithName("getContract").WithSummary("What an installer promises for a site.");
        contract.MapPut("", PutContract).WithName("putContract").WithSummary("Adds or replaces the contract of a site; for installers and operators.")
            .WithDescription("Months before the change are measured by the new one from then on.")
            .ProducesProblem(StatusCodes.Status403Forbidden).ProducesProblem(StatusCodes.Status413PayloadTooLarge).ProducesProblem(StatusCodes.Status415UnsupportedMediaType);
        contract.MapDelete("", RemoveContract).WithName("removeContract").WithSummary("Removes the contract of a site; for installers and operators.")
            .ProducesProblem(StatusCodes.Status403Forbidden);
        contract.MapGet("/month", GetMonth).WithName("getContractMonth").WithSummary("Whether the contract was kept in a month, such as 2026-03; the present one by default.")
            .WithDescription("The time for an answer runs from when people were first told to the first acknowledgement, closing or visit, in the minutes in which the site's clock stands within the contract's hours.");

        var ofSite = api.MapGroup("/sites/{site}/visits").WithTags("Contracts and visits").ProducesProblem(StatusCodes.Status404NotFound);
        ofSite.MapGet("", List).WithName("listVisits").WithSummary("Visits of a site, the one that starts last first.");
        ofSite.MapPost("", Plan).WithName("planVisit").WithSummary("Plans a visit; for installers and operators.")
            .WithDescription("Whoever goes and the caretakers of the site get an invitation by mail, with a calendar file; so they do when it is moved or cancelled.")
            .ProducesProblem(StatusCodes.Status403Forbidden).ProducesProblem(StatusCodes.Status413PayloadTooLarge).ProducesProblem(StatusCodes.Status415UnsupportedMediaType);

        var visits = api.MapGroup("/visits/{id}").WithTags("Contracts and visits").ProducesProblem(StatusCodes.Status404NotFound);
        visits.MapGet("", Get).WithName("getVisit").WithSummary("One visit.");
        Change("/move", "moveVisit", "Gives a visit another time.", (string id, [FromBody] MoveVisitJson body, Caller caller, VisitDesk desk, LedgerStore ledger) =>
            Do(id, caller, desk, ledger, (visit, site) => desk.Move(visit, site, caller, body.StartsAt, body.Minutes)));
        Change("/cancel", "cancelVisit", "Cancels a visit.", (string id, Caller caller, VisitDesk desk, LedgerStore ledger) =>
            Do(id, caller, desk, ledger, (visit, site) => desk.Cancel(visit, site, caller)));
        Change("/done", "endVisit", "Says that somebody was there and what was found; the alerts named are closed with it.", EndAsync);

        void Change(string route, string name, string summary, Delegate handler) => visits.MapPost(route, handler).WithName(name).WithSummary(summary)
            .ProducesProblem(StatusCodes.Status403Forbidden).ProducesProblem(StatusCodes.Status409Conflict)
            .ProducesProblem(StatusCodes.Status413PayloadTooLarge).ProducesProblem(StatusCodes.Status415UnsupportedMediaType);
    }

    public static ProblemHttpResult NoVisit() => Refused(new(StatusCodes.Status404NotFound, Phrase.Of("visits.fault.none")));

    private static Results<Ok<ContractJson>, ProblemHttpResult> GetContract(string site, Caller caller, LedgerStore ledger) =>
        !SiteRoutes.Visible(site, caller) ? SiteRoutes.NoSite()
        : ledger.FindContract(new(site)) is { } contract ? TypedResults.Ok(ContractJson.Of(contract)) : NoContract();

    private static Results<Ok<ContractJson>, ProblemHttpResult> PutContract(string site, [FromBody] ContractJson body, Caller caller, LedgerStore ledger)
    {
        if (!SiteRoutes.Visible(site, caller) || ledger.FindSite(new(site)) is null)
        {
            return SiteRoutes.NoSite();
        }

        if (!VisitDesk.MayChange(caller))
        {
            return NotYours();
        }

        return body.Read(out var fault) is not { } contract ? Problems.BadRequest(fault!)
            : ledger.PutContract(new(site), contract) ? TypedResults.Ok(ContractJson.Of(contract)) : SiteRoutes.NoSite();
    }

    private static Results<NoContent, ProblemHttpResult> RemoveContract(string site, Caller caller, LedgerStore ledger) =>
        !SiteRoutes.Visible(site, caller) ? SiteRoutes.NoSite()
        : !VisitDesk.MayChange(caller) ? NotYours()
        : ledger.RemoveContract(new(site)) ? TypedResults.NoContent() : NoContract();

    private static Results<Ok<ContractMonthJson>, ProblemHttpResult> GetMonth(string site, Caller caller, SiteDirectory directory, ContractReader reader, string? month)
    {
        if (FigureRoutes.Find(site, caller, directory) is not { Plan: var plan })
        {
            return SiteRoutes.NoSite();
        }

        if (!TryMonth(month, reader.ThisMonth(plan), out var day))
        {
            return Problems.BadRequest("'month' is a month such as 2026-03.");
        }

        return reader.Read(plan, day) is { } read ? TypedResults.Ok(ContractMonthJson.Of(read.Month)) : NoContract();
    }

    /// <summary>Reads a month that may be left out.</summary>
    public static bool TryMonth(string? text, DateOnly otherwise, out DateOnly day)
    {
        day = otherwise;
        return string.IsNullOrEmpty(text)
            || (DateOnly.TryParseExact(text, "yyyy-MM", CultureInfo.InvariantCulture, DateTimeStyles.None, out day) && day.Year is >= 2000 and <= 9000);
    }

    private static Results<Ok<PageJson<VisitJson>>, ProblemHttpResult> List(string site, Caller caller, LedgerStore ledger, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem))
        {
            return problem;
        }

        if (!SiteRoutes.Visible(site, caller) || ledger.FindSite(new(site)) is null)
        {
            return SiteRoutes.NoSite();
        }

        var page = Query.Page(ledger.ListVisits(new(site), after, count + 1), count, visit => visit.Id);
        return TypedResults.Ok(new PageJson<VisitJson>([.. page.Items.Select(VisitJson.Of)], page.Next));
    }

    private static Results<Created<VisitJson>, ProblemHttpResult> Plan(string site, [FromBody] NewVisitJson body, Caller caller, VisitDesk desk, LedgerStore ledger) =>
        !SiteRoutes.Visible(site, caller) || ledger.FindSite(new(site))?.Plan is not { } plan ? SiteRoutes.NoSite()
        : desk.Plan(plan, caller, new(body.StartsAt, body.Minutes, body.Visitor.Name, body.Visitor.Email, body.Alert)) switch
        {
            VisitOutcome.Done { Visit: var visit } => TypedResults.Created($"{ApiRoutes.Prefix}/visits/{visit.Id}", VisitJson.Of(visit)),
            var refused => Refused((VisitOutcome.Refused)refused),
        };

    private static Results<Ok<VisitJson>, ProblemHttpResult> Get(string id, Caller caller, VisitDesk desk) =>
        desk.Find(id, caller) is { } visit ? TypedResults.Ok(VisitJson.Of(visit)) : NoVisit();

    private static Results<Ok<VisitJson>, ProblemHttpResult> Do(string id, Caller caller, VisitDesk desk, LedgerStore ledger, Func<Visit, SitePlan, VisitOutcome> act) =>
        desk.Find(id, caller) is { } visit && ledger.FindSite(visit.Site)?.Plan is { } site ? Answer(act(visit, site)) : NoVisit();

    private static async Task<Results<Ok<VisitJson>, ProblemHttpResult>> EndAsync(
        string id, [FromBody] VisitDoneJson? body, Caller caller, VisitDesk desk, LedgerStore ledger, CancellationToken stop) =>
        desk.Find(id, caller) is { } visit && ledger.FindSite(visit.Site)?.Plan is { } site
            ? Answer(await desk.EndAsync(visit, site, caller, body?.DoneAt, [.. (body?.Found ?? []).Select(one => new VisitFinding(one.Alert, one.CauseFound))], body?.Notes, stop))
            : NoVisit();

    private static Results<Ok<VisitJson>, ProblemHttpResult> Answer(VisitOutcome outcome) =>
        outcome is VisitOutcome.Done done ? TypedResults.Ok(VisitJson.Of(done.Visit)) : Refused((VisitOutcome.Refused)outcome);

    private static ProblemHttpResult Refused(VisitOutcome.Refused refused) => TypedResults.Problem(Languages.English.Say(refused.Why), statusCode: refused.Status);

    private static ProblemHttpResult NotYours() => Refused(new(StatusCodes.Status403Forbidden, Phrase.Of("visits.fault.role")));

    private static ProblemHttpResult NoContract() => Problems.NotFound("There is no contract for this site.");
}
