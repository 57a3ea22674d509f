using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Estate;

/// <summary>All buildings, the worst first.</summary>
internal static class EstatePages
{
    /// <remarks>What cannot be answered is said on the page itself, where search and choices lead out.</remarks>
    public static void MapEstatePages(this RouteGroupBuilder pages) => pages.MapGet(
        "/", (string? q, string? wrong, string? after, Caller caller, SiteDirectory directory, TimeProvider time) =>
        {
            var estate = EstateView.Of([.. directory.Sites.Where(site => caller.Sees(site.Plan.Id))], EstateQuery.Read(q, wrong, after), time.GetUtcNow()) with
            {
                Beyond = [.. directory.Estate.Where(alert => caller.Sees(alert.Site))],
            };
            return PageRoutes.Page<EstatePage>(
                new() { [nameof(EstatePage.Estate)] = estate, [nameof(EstatePage.Now)] = time.GetUtcNow() },
                estate.IsFault ? StatusCodes.Status400BadRequest : StatusCodes.Status200OK);
        });
}
