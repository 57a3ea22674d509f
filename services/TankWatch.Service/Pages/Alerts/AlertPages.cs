using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Alerts;

/// <summary>One alert: acknowledging it, notes on it, and closing it with what was found.</summary>
internal static class AlertPages
{
    /// <summary>Chosen where the note alone says what was found.</summary>
    public const string InWords = "in-words";

    /// <summary>What is found on site is for those to say who mend things.</summary>
    public static bool MayClose(Caller caller) => caller.Role is "installer" or "operator";

    public static void MapAlertPages(this RouteGroupBuilder pages)
    {
        pages.MapGet("/alerts/{id}", (string id, string? from, string? to, Caller caller, AlertReading reading) => reading.Show(id, caller, from, to));
        pages.MapPost("/alerts/{id}/acknowledge", AcknowledgeAsync);
        pages.MapPost("/alerts/{id}/note", NoteAsync);
        pages.MapPost("/alerts/{id}/close", CloseAsync);

        pages.MapReturns(
            (string id) => TypedResults.LocalRedirect($"/alerts/{Uri.EscapeDataString(id)}"), "/alerts/{id}/acknowledge", "/alerts/{id}/note", "/alerts/{id}/close");
    }

    public static void AddAlertPages(this IServiceCollection services) => services.AddSingleton<AlertReading>();

    /// <param name="id">The alert.</param>
    /// <param name="note">If anything was written.</param>
    /// <param name="back">The page to go back to; only ever one of ours.</param>
    /// <param name="caller">Who acknowledges.</param>
    /// <param name="desk">Does it.</param>
    /// <param name="reading">For the page, when it cannot be done.</param>
    /// <param name="ledger">For who was first.</param>
    /// <param name="stop">The request's end.</param>
    private static async Task<IResult> AcknowledgeAsync(
        string id, [FromForm] string? note, [FromForm] string? back, Caller caller, AlertDesk desk, AlertReading reading, LedgerStore ledger, CancellationToken stop)
    {
        var written = Cleaned(note);

        // To the desk a second acknowledgement is as good as the first; a person has to hear that somebody else knows, and that a note was not kept.
        if (AlertRoutes.Find(id, caller, ledger) is { AcknowledgedAt: not null, AcknowledgedBy: { } first })
        {
            return reading.Refuse(id, caller, new(AlreadyBy(first, written is not null), written), StatusCodes.Status409Conflict);
        }

        var answer = await desk.AskAsync(id, caller, new Acknowledge(id, caller.Name, written), stop, written);
        return Answer(answer, reading, id, caller, written, back);
    }

    private static async Task<IResult> NoteAsync(
        string id, [FromForm] string? note, Caller caller, AlertDesk desk, AlertReading reading, CancellationToken stop)
    {
        var written = Cleaned(note) ?? "";
        return Answer(await desk.AskAsync(id, caller, new AddNote(id, caller.Name, written), stop, written), reading, id, caller, written, null);
    }

    private static async Task<IResult> CloseAsync(
        string id, [FromForm] string? found, [FromForm] string? note, Caller caller, AlertDesk desk, AlertReading reading, CancellationToken stop)
    {
        var written = Cleaned(note);
        if (!MayClose(caller))
        {
            return reading.Refuse(id, caller, new(Words.Say("alert.refused.close"), written), StatusCodes.Status403Forbidden);
        }

        var (cause, beside) = found == InWords ? (written, null) : (FoundCauses.All.Contains(found) ? found : null, written);
        return cause is null
            ? reading.Refuse(id, caller, new(Words.Say("alert.refused.choose"), written), StatusCodes.Status400BadRequest)
            : Answer(await desk.AskAsync(id, caller, new Close(id, caller.Name, cause, beside), stop, cause, beside), reading, id, caller, written, null);
    }

    private static IResult Answer(
        (int Status, Alert? Done, Phrase? WhyNot) answer, AlertReading reading, string id, Caller caller, string? written, string? back) =>
        answer.Done is null
            ? reading.Refuse(id, caller, new(Sentence(answer.WhyNot), written), answer.Status)
            : TypedResults.LocalRedirect(PageRoutes.Back(back, $"/alerts/{Uri.EscapeDataString(id)}"));

    private static string AlreadyBy(string first, bool hasNote)
    {
        var already = Words.Say("alert.refused.already", ("person", Words.Plain(first)));
        return hasNote ? $"{already} {Words.Say("alert.refused.note")}" : already;
    }

    /// <summary>A browser sends line ends as two characters.</summary>
    private static string? Cleaned(string? note) => string.IsNullOrWhiteSpace(note) ? null : note.Trim().ReplaceLineEndings("\n");

    /// <summary>A clause, or a sentence, as a sentence.</summary>
    private static string Sentence(Phrase? why)
    {
        var text = Words.Say(why ?? Phrase.Of("alert.refused.other")).TrimEnd('.');
        return $"{char.ToUpper(text[0], PageLanguage.Current.Culture)}{text[1..]}.";
    }
}

/// <summary>Reads an alert for its page.</summary>
internal sealed class AlertReading(LedgerStore ledger, SiteDirectory directory, TimeProvider time)
{
    public IResult Show(string id, Caller caller, string? from = null, string? to = null) =>
        Read(id, caller, from, to) is { } view
            ? Page(view, null, view.WindowProblem is null ? StatusCodes.Status200OK : StatusCodes.Status400BadRequest)
            : NoAlert();

    /// <summary>The page with what stood in the way.</summary>
    public IResult Refuse(string id, Caller caller, Refusal refusal, int status) =>
        status != StatusCodes.Status404NotFound && Read(id, caller, null, null) is { } view ? Page(view, refusal, status) : NoAlert();

    private AlertPageView? Read(string id, Caller caller, string? from, string? to)
    {
        if (AlertRoutes.Find(id, caller, ledger) is not { } alert)
        {
            return null;
        }

        var site = directory.Find(alert.Site);
        var plan = site?.Plan ?? (alert.Site.IsNone ? null : ledger.FindSite(alert.Site)?.Plan);
        return new(alert, site, plan, ledger, caller, from, to, time.GetUtcNow());
    }

    private static RazorComponentResult Page(AlertPageView view, Refusal? refusal, int status) =>
        PageRoutes.Page<AlertPage>(new() { [nameof(AlertPage.View)] = view, [nameof(AlertPage.Refusal)] = refusal }, status);

    private static RazorComponentResult NoAlert() => PageRoutes.Say(Words.Say("problem.alert"), StatusCodes.Status404NotFound);
}
