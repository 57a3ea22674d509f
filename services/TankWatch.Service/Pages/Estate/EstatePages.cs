using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Estate;

/// <summary>All buildings, the worst first.</summary>
internal static class EstatePages
{
    public static void AddEstatePages(this IServiceCollection services)
    {
    }

    public static void MapEstatePages(this RouteGroupBuilder pages) => pages.MapGet("/", (Caller caller, SiteDirectory directory) =>
        PageRoutes.Page<EstatePage>(new()
        {
            [nameof(EstatePage.Estate)] = EstateView.Of(directory.Sites.Where(site => caller.Sees(site.Plan.Id))),
        }));
}
