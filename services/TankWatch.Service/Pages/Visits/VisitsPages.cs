using System.Collections.Immutable;
using System.Globalization;
using System.Text;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Core.Contracts;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using TankWatch.Service.Visits;

namespace TankWatch.Service.Pages.Visits;

/// <summary>Who goes to a building and when, and whether its contract is kept.</summary>
internal static class VisitsPages
{
    public static void MapVisitsPages(this RouteGroupBuilder pages)
    {
        pages.MapGet("/sites/{id}/visits", (string id, string? month, string? alert, Caller caller, VisitsReading reading) => reading.Show(id, caller, month, alert));
        pages.MapGet("/sites/{id}/visits/{visit}.ics", Calendar);
        pages.MapPost("/sites/{id}/visits", (
            string id, [FromForm] string? at, [FromForm] int? minutes, [FromForm] string? name, [FromForm] string? email, [FromForm] string? alert, Caller caller, VisitsReading reading) =>
            reading.Plan(id, caller, at, minutes, name, email, string.IsNullOrEmpty(alert) ? null : alert));
        pages.MapPost("/sites/{id}/visits/{visit}/move", (string id, string visit, [FromForm] string? at, [FromForm] int? minutes, Caller caller, VisitsReading reading) =>
            reading.Move(id, visit, caller, at, minutes));
        pages.MapPost("/sites/{id}/visits/{visit}/cancel", (string id, string visit, IFormCollection _, Caller caller, VisitsReading reading) => // A form, so that its token is asked for.
            reading.Cancel(id, visit, caller));
        pages.MapPost("/sites/{id}/visits/{visit}/done", (string id, string visit, IFormCollection form, Caller caller, VisitsReading reading, CancellationToken stop) =>
            reading.EndAsync(id, visit, caller, form, stop));
        pages.MapReturns(
            (string id) => TypedResults.LocalRedirect($"/sites/{Uri.EscapeDataString(id)}/visits"),
            "/sites/{id}/visits/{visit}/move", "/sites/{id}/visits/{visit}/cancel", "/sites/{id}/visits/{visit}/done");
    }

    private static IResult Calendar(string id, string visit, Caller caller, SiteDirectory directory, LedgerStore ledger, TimeProvider time)
    {
        if (FigureRoutes.Find(id, caller, directory) is not { Plan: var plan } || ledger.FindVisit(visit) is not { } found || found.Site != plan.Id)
        {
            return PageRoutes.Say(Words.Say("visits.fault.none"), StatusCodes.Status404NotFound);
        }

        var why = VisitWords.Why(found.Alert is { } alert ? ledger.FindAlert(alert) : null);
        var calendar = VisitCalendar.Publish(found, plan.Name, why, plan.TimeZone, time.GetUtcNow(), PageLanguage.Current);
        return TypedResults.File(Encoding.UTF8.GetBytes(calendar), "text/calendar; charset=utf-8; method=PUBLISH", "visit.ics");
    }
}

/// <summary>Reads the page of a building's visits, and takes its forms.</summary>
internal sealed class VisitsReading(LedgerStore ledger, SiteDirectory directory, ContractReader contracts, VisitDesk desk, TimeProvider time)
{
    /// <summary>Beginning of the names of the fields that say what was found; the alert's id follows.</summary>
    public const string FoundField = "found-";

    private const int Shown = 100;
    private const string TimeFormat = "yyyy-MM-ddTHH:mm";

    /// <param name="id">The building's.</param>
    /// <param name="caller">Who looks.</param>
    /// <param name="month">The one whose answers are told.</param>
    /// <param name="alert">Because of which the reader wants to plan a visit; null for none.</param>
    public IResult Show(string id, Caller caller, string? month, string? alert) => FigureRoutes.Find(id, caller, directory) is not { } site ? PageRoutes.NoBuilding()
        : VisitRoutes.TryMonth(month, contracts.ThisMonth(site.Plan), out var day) ? Page(site, caller, day, null, StatusCodes.Status200OK, alert)
        : Refuse(site, caller, new(StatusCodes.Status400BadRequest, Phrase.Of("visits.fault.time")));

    public IResult Plan(string id, Caller caller, string? at, int? minutes, string? name, string? email, string? alert) => FigureRoutes.Find(id, caller, directory) is not { } site ? PageRoutes.NoBuilding()
        : TryTime(at, site.Plan.TimeZone) is not { } start ? Refuse(site, caller, BadTime)
        : Answer(site, caller, desk.Plan(site.Plan, caller, new(start, minutes ?? 0, name ?? "", email, alert)));

    public IResult Move(string id, string visit, Caller caller, string? at, int? minutes) => FigureRoutes.Find(id, caller, directory) is not { } site ? PageRoutes.NoBuilding()
        : TryTime(at, site.Plan.TimeZone) is not { } start ? Refuse(site, caller, BadTime)
        : Answer(site, caller, Find(visit, site) is { } found ? desk.Move(found, site.Plan, caller, start, minutes) : NoVisit);

    public IResult Cancel(string id, string visit, Caller caller) => FigureRoutes.Find(id, caller, directory) is not { } site ? PageRoutes.NoBuilding()
        : Answer(site, caller, Find(visit, site) is { } found ? desk.Cancel(found, site.Plan, caller) : NoVisit);

    public async Task<IResult> EndAsync(string id, string visit, Caller caller, IFormCollection form, CancellationToken stop)
    {
        if (FigureRoutes.Find(id, caller, directory) is not { } site)
        {
            return PageRoutes.NoBuilding();
        }

        if (Find(visit, site) is not { } planned)
        {
            return Answer(site, caller, NoVisit);
        }

        var done = TryTime(form["at"], site.Plan.TimeZone);
        if (done is null && !string.IsNullOrEmpty(form["at"]))
        {
            return Refuse(site, caller, BadTime);
        }

        var notes = form["notes"].ToString().Trim().ReplaceLineEndings("\n");
        var found = form.Where(field => field.Key.StartsWith(FoundField, StringComparison.Ordinal) && FoundCauses.All.Contains(field.Value.ToString()))
            .Select(field => new VisitFinding(field.Key[FoundField.Length..], field.Value.ToString())).ToImmutableArray();
        return Answer(site, caller, await desk.EndAsync(planned, site.Plan, caller, done, found, notes.Length == 0 ? null : notes, stop));
    }

    /// <summary>A time as a field of a form has it, on the building's clock; the first of a time that is lived twice.</summary>
    /// <returns>Null for what cannot be read, and for a time that the clock leaves out.</returns>
    internal static DateTimeOffset? TryTime(string? text, TimeZoneInfo zone) =>
        DateTime.TryParseExact(text, TimeFormat, CultureInfo.InvariantCulture, DateTimeStyles.None, out var local) && !zone.IsInvalidTime(local)
            ? new DateTimeOffset(local, zone.IsAmbiguousTime(local) ? zone.GetAmbiguousTimeOffsets(local).Max() : zone.GetUtcOffset(local)) : null;

    /// <summary>As a field of a form takes it.</summary>
    internal static string FieldTime(DateTimeOffset at, TimeZoneInfo zone) => TimeZoneInfo.ConvertTime(at, zone).ToString(TimeFormat, CultureInfo.InvariantCulture);

    private static VisitOutcome.Refused BadTime => new(StatusCodes.Status400BadRequest, Phrase.Of("visits.fault.time"));

    private static VisitOutcome.Refused NoVisit => new(StatusCodes.Status404NotFound, Phrase.Of("visits.fault.none"));

    private Visit? Find(string visit, SiteView site) => ledger.FindVisit(visit) is { } found && found.Site == site.Plan.Id ? found : null;

    private IResult Answer(SiteView site, Caller caller, VisitOutcome outcome) => outcome is VisitOutcome.Refused refused
        ? Refuse(site, caller, refused)
        : TypedResults.LocalRedirect($"/sites/{Uri.EscapeDataString(site.Plan.Id.Value)}/visits");

    private RazorComponentResult Refuse(SiteView site, Caller caller, VisitOutcome.Refused refused) =>
        Page(site, caller, contracts.ThisMonth(site.Plan), Words.Say(refused.Why), refused.Status);

    private RazorComponentResult Page(SiteView site, Caller caller, DateOnly month, string? problem, int status, string? alert = null) => PageRoutes.Page<VisitsPage>(
        new()
        {
            [nameof(VisitsPage.View)] = VisitsView.Of(
                site, contracts.Read(site.Plan, month), month, ledger.ListVisits(site.Plan.Id, null, Shown), ledger.FindAlert, VisitDesk.MayChange(caller), time.GetUtcNow()),
            [nameof(VisitsPage.Problem)] = problem,
            [nameof(VisitsPage.Alert)] = alert,
        },
        status);
}
