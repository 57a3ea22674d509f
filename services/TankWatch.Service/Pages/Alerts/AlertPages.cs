using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Core;
using TankWatch.Service.Api;

namespace TankWatch.Service.Pages.Alerts;

/// <summary>One alert, and acknowledging it.</summary>
internal static class AlertPages
{
    public static void MapAlertPages(this RouteGroupBuilder pages) => pages.MapPost("/alerts/{id}/acknowledge", AcknowledgeAsync);

    /// <param name="id">The alert.</param>
    /// <param name="note">If anything was written.</param>
    /// <param name="back">The page to go back to; only ever one of ours.</param>
    /// <param name="caller">Who acknowledges.</param>
    /// <param name="desk">Does it.</param>
    /// <param name="stop">The request's end.</param>
    private static async Task<IResult> AcknowledgeAsync(
        string id, [FromForm] string? note, [FromForm] string? back, Caller caller, AlertDesk desk, CancellationToken stop)
    {
        var written = string.IsNullOrWhiteSpace(note) ? null : note.Trim();
        var outcome = await desk.DoAsync(id, caller, new Acknowledge(id, caller.Name, written), stop, written);
        return outcome.Result is ProblemHttpResult problem
            ? PageRoutes.Say(problem.ProblemDetails.Detail ?? "This did not work.", problem.StatusCode)
            : TypedResults.LocalRedirect(RedirectHttpResult.IsLocalUrl(back) ? back! : $"/alerts/{Uri.EscapeDataString(id)}");
    }
}
