using TankWatch.Core.Timelines;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Estate;

/// <summary>What the page says, in words; how it looks is the page's business.</summary>
/// <param name="Opening">How many buildings need somebody.</param>
/// <param name="Buildings">Worst first.</param>
public sealed record EstateView(string Opening, IReadOnlyList<BuildingView> Buildings)
{
    internal static EstateView Of(IEnumerable<SiteView> sites)
    {
        var ordered = WorstFirst.Order(sites);
        var pressing = ordered.Count(site => site.OpenAlerts.Any(WorstFirst.Presses));
        var opening = (ordered.Count, pressing) switch
        {
            (0, _) => "There is no building yet: 'tankwatch site import FILE' adds one.",
            (_, 0) => "Nothing is wrong that we know of.",
            (_, 1) => "One of them has something wrong.",
            _ => $"{pressing} of {ordered.Count} have something wrong; the worst stands first.",
        };
        return new(opening, [.. ordered.Select(BuildingView.Of)]);
    }
}

/// <param name="Id">The site's id.</param>
/// <param name="Name">As its file says; may hold anything.</param>
/// <param name="Water">One sentence a tank.</param>
/// <param name="Pumps">One sentence a pump.</param>
/// <param name="Heard">How old all this is.</param>
public sealed record BuildingView(string Id, string Name, string Water, string Pumps, string Heard)
{
    internal static BuildingView Of(SiteView site) => new(
        site.Plan.Id.Value, site.Plan.Name,
        SiteSentences.Water(site.Plan, site.State, site.AsOf), SiteSentences.Pumps(site.Plan, site.State, site.AsOf), HeardOf(site));

    private static string HeardOf(SiteView site)
    {
        var newest = site.Units.Max(unit => unit.HeardAt);
        return newest is { } heard ? $"Last heard of {Words.Ago(site.AsOf - heard)}." : "Not heard of yet.";
    }
}
