using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core.Time;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Strips;

/// <summary>The strip alone, for the script that pans and zooms it.</summary>
internal static class StripRoutes
{
    public static void MapStrips(this RouteGroupBuilder pages) => pages.MapGet("/sites/{site}/strip", Get);

    private static Results<RazorComponentResult, ProblemHttpResult> Get(
        string site, string? from, string? to, string? alert, string? address, Caller caller, SiteDirectory directory)
    {
        if (!SiteRoutes.Visible(site, caller) || directory.Find(new(site)) is not { } view)
        {
            return SiteRoutes.NoSite();
        }

        if (Rfc3339.TryParse(from, out var start) is false || Rfc3339.TryParse(to, out var end) is false
            || end - start < StripWindow.Shortest || end - start > StripWindow.Longest)
        {
            return Problems.BadRequest($"'from' and 'to' are RFC 3339 times, 'to' after 'from' by 10 minutes to {StripWindow.Longest.TotalDays} days.");
        }

        return PageRoutes.Page<DayStrip>(new()
        {
            [nameof(DayStrip.Site)] = view,
            [nameof(DayStrip.Window)] = new StripWindow(start, end),
            [nameof(DayStrip.Alert)] = alert,
            [nameof(DayStrip.Address)] = address is ['/', not ('/' or '\\'), ..] ? address : $"/sites/{site}",
        });
    }
}
