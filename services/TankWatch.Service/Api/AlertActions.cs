using System.Globalization;
using System.Text;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Texts;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <summary>What people do about an alert. Each answers with the alert as it then is.</summary>
internal static class AlertActions
{
    public const int MaxTextLength = 2000;

    public static void MapAlertActions(this RouteGroupBuilder alerts)
    {
        Map("/{id}/acknowledge", "acknowledgeAlert", "Says that somebody knows; escalation stops.",
            (string id, [FromBody] OptionalNoteJson? body, Caller caller, AlertDesk desk, CancellationToken stop) =>
                desk.DoAsync(id, caller, new Acknowledge(id, caller.Name, body?.Note), stop, body?.Note));
        Map("/{id}/shelve", "shelveAlert", "Puts an alert aside until a time, for a reason.",
            (string id, [FromBody] ShelveJson body, Caller caller, AlertDesk desk, CancellationToken stop) =>
                desk.DoAsync(id, caller, new Shelve(id, caller.Name, body.Until, body.Reason), stop, body.Reason));
        Map("/{id}/unshelve", "unshelveAlert", "Takes an alert off the shelf before its time.",
            (string id, Caller caller, AlertDesk desk, CancellationToken stop) =>
                desk.DoAsync(id, caller, new Unshelve(id, caller.Name), stop));
        Map("/{id}/out-of-service", "takeAlertOutOfService", "Says that the device is out of service, until it is returned.",
            (string id, [FromBody] OptionalNoteJson? body, Caller caller, AlertDesk desk, CancellationToken stop) =>
                desk.DoAsync(id, caller, new TakeOutOfService(id, caller.Name, body?.Note), stop, body?.Note));
        Map("/{id}/return", "returnAlertToService", "Says that the device is in service again.",
            (string id, Caller caller, AlertDesk desk, CancellationToken stop) =>
                desk.DoAsync(id, caller, new ReturnToService(id, caller.Name), stop));
        Map("/{id}/close", "closeAlert", "Closes an alert with the cause that was found on site: a name of /alerts/record counts there, anything else is kept as written.",
            (string id, [FromBody] CloseJson body, Caller caller, AlertDesk desk, CancellationToken stop) =>
                desk.DoAsync(id, caller, new Close(id, caller.Name, body.CauseFound, body.Note), stop, body.CauseFound, body.Note));
        Map("/{id}/note", "addNoteToAlert", "Adds a note.",
            (string id, [FromBody] NoteJson body, Caller caller, AlertDesk desk, CancellationToken stop) =>
                desk.DoAsync(id, caller, new AddNote(id, caller.Name, body.Note), stop, body.Note));

        void Map(string route, string name, string summary, Delegate handler) => alerts.MapPost(route, handler)
            .WithName(name).WithSummary(summary)
            .ProducesProblem(StatusCodes.Status404NotFound).ProducesProblem(StatusCodes.Status409Conflict)
            .ProducesProblem(StatusCodes.Status413PayloadTooLarge).ProducesProblem(StatusCodes.Status415UnsupportedMediaType);
    }
}

/// <summary>Hands what a person wants to the owner of the alert's site, for API and page alike.</summary>
internal sealed class AlertDesk(LedgerStore ledger, SiteDirectory directory)
{
    /// <param name="id">The alert.</param>
    /// <param name="caller">Who asks; must see the alert's site.</param>
    /// <param name="command">What they ask.</param>
    /// <param name="stop">The request's end.</param>
    /// <param name="written">What they wrote, to be checked; null when they wrote nothing.</param>
    public async Task<Results<Ok<AlertJson>, ProblemHttpResult>> DoAsync(
        string id, Caller caller, AlertCommand command, CancellationToken stop, params string?[] written) =>
        await AskAsync(id, caller, command, stop, written) switch
        {
            (StatusCodes.Status200OK, { } alert, _) => TypedResults.Ok(AlertJson.Of(alert)),
            (StatusCodes.Status400BadRequest, _, { } fault) => Problems.BadRequest(Languages.English.Say(fault)),
            (StatusCodes.Status409Conflict, _, { } reason) => Problems.Conflict(Languages.English.Say(reason)),
            _ => AlertRoutes.NoAlert(),
        };

    /// <summary>The same for who says it in another language.</summary>
    /// <returns>The status of the answer, with the alert as it then is or why nothing was changed; neither for an alert that is not there.</returns>
    public async Task<(int Status, Alert? Done, Phrase? WhyNot)> AskAsync(string id, Caller caller, AlertCommand command, CancellationToken stop, params string?[] written)
    {
        if (AlertRoutes.Find(id, caller, ledger) is not { } known)
        {
            return (StatusCodes.Status404NotFound, null, null);
        }

        if (known.Site.IsNone && caller.Site is not null && command is not (Acknowledge or AddNote))
        {
            return (StatusCodes.Status409Conflict, null, Phrase.Of("refusal.many-sites"));
        }

        if (written.OfType<string>().Select(FaultOf).FirstOrDefault(fault => fault is not null) is { } fault)
        {
            return (StatusCodes.Status400BadRequest, null, fault);
        }

        return await directory.TellAsync(command, stop) switch
        {
            CommandOutcome.Done done => (StatusCodes.Status200OK, done.Alert, null),
            CommandOutcome.Refused refused => (StatusCodes.Status409Conflict, null, refused.Reason),
            _ => (StatusCodes.Status404NotFound, null, null),
        };
    }

    /// <summary>What is wrong with what was written about a visit; null when nothing is.</summary>
    public static Phrase? FaultOf(IEnumerable<Core.Contracts.VisitFinding> found, string? notes) =>
        found.Select(one => one.CauseFound).Append(notes).OfType<string>().Select(FaultOf).FirstOrDefault(fault => fault is not null);

    private static Phrase? FaultOf(string text) =>
        text.Length > AlertActions.MaxTextLength || !text.EnumerateRunes().Any(IsVisible) ? Phrase.Of("refusal.text", ("most", AlertActions.MaxTextLength))
        : text.Any(c => char.IsControl(c) && c is not ('\n' or '\t')) ? Phrase.Of("refusal.controls")
        : null;

    /// <summary>Leaves a mark on the page by itself.</summary>
    private static bool IsVisible(Rune rune) => Rune.GetUnicodeCategory(rune) is not (
        UnicodeCategory.Control or UnicodeCategory.Format or UnicodeCategory.SpaceSeparator or UnicodeCategory.LineSeparator
        or UnicodeCategory.ParagraphSeparator or UnicodeCategory.NonSpacingMark or UnicodeCategory.EnclosingMark or UnicodeCategory.OtherNotAssigned);
}
