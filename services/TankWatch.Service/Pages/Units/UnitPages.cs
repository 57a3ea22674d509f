using System.Globalization;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.WebUtilities;
using TankWatch.Core;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Units;

/// <summary>The field units, one of them, and what came on no unit's topic.</summary>
internal static class UnitPages
{
    private const int UnitsShown = 50;
    private const int StrangersShown = 20;
    private const int RefusedShown = 20;

    public static void MapUnitPages(this RouteGroupBuilder pages)
    {
        pages.MapGet("/units", ShowAll);
        pages.MapGet("/units/{id}", Show);
        pages.MapGet("/refused", ShowNobodys);
    }

    private static RazorComponentResult ShowAll(string? after, string? q, Caller caller, SiteDirectory directory, SeriesStore series)
    {
        var all = LinesOf(caller, directory).OrderBy(line => line.Rank).ThenBy(line => line.Unit.Id).ToList();
        var asked = string.IsNullOrWhiteSpace(q) ? null : q.Trim();
        var found = asked is null ? all : all.FindAll(line => line.Unit.Id.Value.Contains(asked, StringComparison.OrdinalIgnoreCase));
        var from = after is null ? 0 : found.FindIndex(line => line.Unit.Id.Value == after) + 1;
        var page = Query.Page([.. found.Skip(from).Take(UnitsShown + 1)], UnitsShown, line => line.Unit.Id.Value);
        return PageRoutes.Page<UnitsPage>(new()
        {
            [nameof(UnitsPage.Opening)] = Opening(all),
            [nameof(UnitsPage.Asked)] = asked,
            [nameof(UnitsPage.Lines)] = page.Items,
            [nameof(UnitsPage.IsFirst)] = from == 0,
            [nameof(UnitsPage.Next)] = page.Next is null ? null : Address(page.Next, asked),
            [nameof(UnitsPage.Nobodys)] = caller.Site is null ? series.CountRefused(null) : null,
            [nameof(UnitsPage.Strangers)] = caller.Site is null ? series.ListStrangers(StrangersShown) : [],
        });
    }

    private static string Opening(List<UnitLine> all)
    {
        var broken = all.Count(line => line.Unit is { Silent: false, HeardAt: not null, Online: false });
        var (silent, unheard) = (all.Count(line => line.Unit.Silent), all.Count(line => line.Unit is { Silent: false, HeardAt: null }));
        return (all.Count, silent, unheard) switch
        {
            (0, _, _) => Words.Say("units.none"),
            (1, 1, _) => Words.Say("units.one.silent"),
            (1, _, 1) => Words.Say("units.one.unheard"),
            (1, _, _) => Words.Say(broken == 1 ? "units.one.broken" : "units.one.speaks"),
            (_, 0, 0) when broken > 0 => Words.Say("units.broken", ("n", broken), ("all", all.Count)),
            (_, 0, 0) => Words.Say("units.all-speak", ("all", all.Count)),
            (_, 0, _) => Words.Say("units.unheard", ("n", unheard), ("all", all.Count)),
            _ => Words.Say("units.silent", ("n", silent), ("all", all.Count)),
        };
    }

    private static RazorComponentResult Show(string id, string? after, Caller caller, SiteDirectory directory, SeriesStore series)
    {
        if (!UnitRoutes.Visible(id, caller, directory, series))
        {
            return PageRoutes.Say(Words.Say("problem.unit"), StatusCodes.Status404NotFound);
        }

        var unit = new UnitId(id);
        return PageRoutes.Page<UnitPage>(new()
        {
            [nameof(UnitPage.Id)] = id,
            [nameof(UnitPage.Line)] = LinesOf(caller, directory).FirstOrDefault(line => line.Unit.Id == unit),
            [nameof(UnitPage.Zone)] = directory.Sites.FirstOrDefault(site => site.Plan.FindUnit(unit) is not null)?.Plan.TimeZone ?? TimeZoneInfo.Utc,
            [nameof(UnitPage.Refused)] = RefusedOf(unit, after, series, $"/units/{id}", $"{ApiRoutes.Prefix}/units/{id}/refused"),
        });
    }

    private static RazorComponentResult ShowNobodys(string? after, Caller caller, SeriesStore series) => caller.Site is not null
        ? PageRoutes.Say(Words.Say("problem.page"), StatusCodes.Status404NotFound)
        : PageRoutes.Page<RefusedPage>(new()
        {
            [nameof(RefusedPage.Refused)] = RefusedOf(null, after, series, "/refused", $"{ApiRoutes.Prefix}/refused"),
        });

    private static IEnumerable<UnitLine> LinesOf(Caller caller, SiteDirectory directory) => directory.Sites
        .Where(site => caller.Sees(site.Plan.Id)).SelectMany(site => site.Units.Select(unit => new UnitLine(unit, site.Plan.Name)));

    private static RefusedView RefusedOf(UnitId? unit, string? after, SeriesStore series, string address, string api)
    {
        var page = Query.Page(
            [.. series.ListRefused(unit, after, RefusedShown + 1)], RefusedShown, refusal => refusal.Id.ToString(CultureInfo.InvariantCulture));
        return new(page.Items, after is null ? null : address, page.Next is null ? null : $"{address}?after={page.Next}#refused", api);
    }

    private static string Address(string after, string? asked) => QueryHelpers.AddQueryString(
        "/units", new Dictionary<string, string?> { ["q"] = asked, ["after"] = after }.Where(pair => pair.Value is not null));
}

/// <summary>A page of refused messages.</summary>
/// <param name="Items">Newest first.</param>
/// <param name="Newest">Address of the newest ones; null when these are they.</param>
/// <param name="Next">Address of older ones; null at the end.</param>
/// <param name="Api">Where each is to be had whole, by its id.</param>
public sealed record RefusedView(IReadOnlyList<StoredRefusal> Items, string? Newest, string? Next, string Api);
