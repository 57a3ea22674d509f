using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Service.Api;
using TankWatch.Service.Pages.Building;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Strips;

/// <summary>The strip alone, for the script that pans and zooms it.</summary>
internal static class StripRoutes
{
    public static void MapStrips(this RouteGroupBuilder pages) => pages.MapGet("/sites/{site}/strip", Get);

    private static Results<RazorComponentResult, ProblemHttpResult> Get(
        string site, string? from, string? to, string? alert, Caller caller, SiteDirectory directory)
    {
        if (!SiteRoutes.Visible(site, caller) || directory.Find(new(site)) is not { } view)
        {
            return SiteRoutes.NoSite();
        }

        var (window, problem) = BuildingWindow.Between(from, to, default);
        if (problem is not null)
        {
            return Problems.BadRequest(problem);
        }

        return PageRoutes.Page<DayStrip>(new()
        {
            [nameof(DayStrip.Site)] = view,
            [nameof(DayStrip.Window)] = window,
            [nameof(DayStrip.Alert)] = alert,
            [nameof(DayStrip.Address)] = string.IsNullOrEmpty(alert) ? $"/sites/{site}" : $"/alerts/{Uri.EscapeDataString(alert)}",
        });
    }
}
