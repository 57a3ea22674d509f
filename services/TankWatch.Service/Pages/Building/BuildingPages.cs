using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core.Time;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Building;

/// <summary>One building.</summary>
internal static class BuildingPages
{
    public static void MapBuildingPages(this RouteGroupBuilder pages) => pages.MapGet("/sites/{id}", Show);

    private static RazorComponentResult Show(
        string id, string? view, string? on, string? from, string? to, string? figures, string? before,
        Caller caller, SiteDirectory directory, SummaryReader summaries, SeriesStore series, LedgerStore ledger, TimeProvider time)
    {
        if (FigureRoutes.Find(id, caller, directory) is not { } site)
        {
            return PageRoutes.NoBuilding();
        }

        var now = time.GetUtcNow();
        var shown = BuildingWindow.Read(view, on, from, to, now, site.Plan.TimeZone);
        var today = LocalDays.DateOf(now, site.Plan.TimeZone);
        var period = Period.Find(figures is null or "" ? "day" : figures);
        var page = new BuildingView(
            site, now, shown, FiguresView.Of(summaries.Read(site, period ?? Period.Find("day")!, shown.On ?? today), site.Plan, today),
            period is null ? Words.Say("building.figures.problem") : null,
            summaries.Read(site, Period.Find("day")!, today).Current, AccountView.Of(site, summaries, today), series, ledger, before);
        return PageRoutes.Page<BuildingPage>(
            new() { [nameof(BuildingPage.View)] = page },
            shown.Problem is null && period is not null ? StatusCodes.Status200OK : StatusCodes.Status400BadRequest);
    }
}
