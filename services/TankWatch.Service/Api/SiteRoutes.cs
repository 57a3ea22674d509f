using System.Net.Mime;
using System.Text;
using System.Text.Json;
using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core;
using TankWatch.Core.Sites;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <summary><c>/sites</c>: the site files.</summary>
internal static class SiteRoutes
{
    public static void MapSites(this RouteGroupBuilder api)
    {
        var sites = api.MapGroup("/sites").WithTags("Sites");
        sites.MapGet("", List).WithName("listSites").WithSummary("Site files, the worst first.")
            .WithDescription("Sites with the most pressing open alert come first; among equals the one that waits longest.")
            .Produces<PageJson<SiteFileJson>>();
        sites.MapGet("/{site}", Get).WithName("getSite").WithSummary("One site file, as it was put.")
            .Produces<SiteFileJson>().ProducesProblem(StatusCodes.Status404NotFound);
        sites.MapPut("/{site}", PutAsync).WithName("putSite").WithSummary("Adds or replaces a site file.")
            .WithDescription("A file with a fault is refused whole; the problem's member 'faults' lists every fault with its JSON path.")
            .Accepts<SiteFileJson>(MediaTypeNames.Application.Json)
            .Produces<SiteFileJson>().Produces<SiteFileJson>(StatusCodes.Status201Created)
            .ProducesProblem(StatusCodes.Status404NotFound).ProducesProblem(StatusCodes.Status409Conflict)
            .ProducesProblem(StatusCodes.Status413PayloadTooLarge).ProducesProblem(StatusCodes.Status415UnsupportedMediaType);
        sites.MapDelete("/{site}", DeleteAsync).WithName("deleteSite")
            .WithSummary("Removes a site with everything that was kept of it.").ProducesProblem(StatusCodes.Status404NotFound);
    }

    private static Results<JsonHttpResult<PageJson<JsonElement>>, ProblemHttpResult> List(
        Caller caller, SiteDirectory directory, LedgerStore ledger, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem))
        {
            return problem;
        }

        Rank? from = null;
        if (after is not null && (from = Rank.Find(after)) is null)
        {
            return Problems.BadRequest("'after' is none that this list gave as 'next'.");
        }

        var ranked = WorstFirst.Order(directory.Sites.Where(view => caller.Sees(view.Plan.Id)));
        var page = Query.Page(ranked[WorstFirst.CountUpTo(ranked, from)..], count, site => site.Rank.ToString());
        var files = page.Items.Select(site => ledger.FindSite(site.Site.Plan.Id)).OfType<StoredSite>(); // One may be gone by now.
        return TypedResults.Json(new PageJson<JsonElement>([.. files.Select(file => Parsed(file.Json))], page.Next));
    }

    private static Results<ContentHttpResult, ProblemHttpResult> Get(string site, Caller caller, LedgerStore ledger) =>
        Visible(site, caller) && ledger.FindSite(new(site)) is { } found ? Json(found.Json, StatusCodes.Status200OK) : NoSite();

    private static async Task<Results<ContentHttpResult, ProblemHttpResult>> PutAsync(
        string site, Caller caller, HttpRequest request, LedgerStore ledger, SiteDirectory directory, IHostApplicationLifetime lifetime, CancellationToken stop)
    {
        if (!Visible(site, caller))
        {
            return NoSite();
        }

        // A body may come as slowly as the server allows: the end of the service does not wait for it.
        using var ending = CancellationTokenSource.CreateLinkedTokenSource(stop, lifetime.ApplicationStopping);
        using var body = new MemoryStream();
        await request.Body.CopyToAsync(body, ending.Token);
        var read = SiteFile.Parse(body.ToArray());
        if (read.Plan is not { } plan)
        {
            return TypedResults.Problem(
                "The site file has faults; nothing was changed.", statusCode: StatusCodes.Status400BadRequest,
                extensions: [new("faults", read.Faults.Select(f => new SiteFaultJson(f.Path, f.Message)).ToList())]);
        }

        if (plan.Id.Value != site)
        {
            return Problems.BadRequest($"The file's id is '{plan.Id}', and the address says '{site}'.");
        }

        var isNew = ledger.FindSite(plan.Id) is null;
        var json = Encoding.UTF8.GetString(body.ToArray()).TrimStart('\uFEFF');
        if (ledger.PutSite(plan, json, namesOwner: caller.Site is null) is { } refusal)
        {
            return Problems.Conflict(refusal);
        }

        await directory.RefreshAsync(stop);
        return Json(json, isNew ? StatusCodes.Status201Created : StatusCodes.Status200OK);
    }

    private static async Task<Results<NoContent, ProblemHttpResult>> DeleteAsync(
        string site, Caller caller, LedgerStore ledger, SiteDirectory directory, CancellationToken stop)
    {
        if (!Visible(site, caller) || !ledger.DeleteSite(new(site)))
        {
            return NoSite();
        }

        await directory.RefreshAsync(stop);
        return TypedResults.NoContent();
    }

    /// <summary>What another may see does not exist for this caller; nor does what can be no id.</summary>
    public static bool Visible(string site, Caller caller) => IdRule.Holds(site) && caller.Sees(new(site));

    public static ProblemHttpResult NoSite() => Problems.NotFound("There is no such site.");

    private static ContentHttpResult Json(string text, int status) =>
        TypedResults.Text(text, MediaTypeNames.Application.Json, Encoding.UTF8, status);

    private static JsonElement Parsed(string json)
    {
        using var document = JsonDocument.Parse(json);
        return document.RootElement.Clone();
    }
}
