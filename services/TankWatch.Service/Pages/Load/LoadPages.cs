using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Load;

/// <summary>Whether alerts are few and right enough to be heeded.</summary>
internal static class LoadPages
{
    public static void MapLoadPages(this RouteGroupBuilder pages) => pages.MapGet("/load", Show);

    private static RazorComponentResult Show(string? site, string? person, string? from, string? to, Caller caller, LoadReader reader, SiteDirectory directory)
    {
        var asked = string.IsNullOrEmpty(site) ? (SiteId?)null : new SiteId(site);
        var plan = (asked ?? caller.Site) is { } one && caller.Sees(one) ? directory.Find(one)?.Plan : null;
        if (asked is not null && plan is null)
        {
            return PageRoutes.NoBuilding();
        }

        if (!Query.TryTime("from", from, out var start, out _) || !Query.TryTime("to", to, out var end, out _))
        {
            return PageRoutes.Say(Words.Say("problem.time"), StatusCodes.Status400BadRequest);
        }

        return reader.Read(caller, asked, string.IsNullOrEmpty(person) ? null : person, start, end) is { } report
            ? PageRoutes.Page<LoadPage>(new()
            {
                [nameof(LoadPage.View)] = LoadView.Tell(report, reader.ReadRecord(caller, asked), plan?.TimeZone ?? TimeZoneInfo.Utc),
            })
            : PageRoutes.Say(Words.Say("problem.ends-before"), StatusCodes.Status400BadRequest);
    }
}
