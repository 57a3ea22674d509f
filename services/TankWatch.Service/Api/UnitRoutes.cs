using System.Globalization;
using System.Net.Mime;
using System.Text;
using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <summary><c>/units</c>: the field units, and what of theirs could not be read.</summary>
internal static class UnitRoutes
{
    public const int ShownBytes = 4096;

    public static void MapUnits(this RouteGroupBuilder api)
    {
        var units = api.MapGroup("/units").WithTags("Units");
        units.MapGet("", List).WithName("listUnits").WithSummary("Field units, by id.");
        units.MapGet("/{unit}/refused", ListRefused).WithName("listRefusedMessages")
            .WithSummary("Messages of a unit that could not be read, newest first.").ProducesProblem(StatusCodes.Status404NotFound);
        units.MapGet("/{unit}/refused/{id}", GetRefused).WithName("getRefusedMessage")
            .WithSummary("All that is kept of one such message, byte for byte.")
            .Produces<byte[]>(contentType: MediaTypeNames.Application.Octet).ProducesProblem(StatusCodes.Status404NotFound);
        api.MapGet("/refused/{id}", GetNobodys).WithTags("Units").WithName("getNobodysRefusedMessage")
            .WithSummary("All that is kept of one message on a topic that names no unit, byte for byte; for keys that see every site.")
            .Produces<byte[]>(contentType: MediaTypeNames.Application.Octet).ProducesProblem(StatusCodes.Status404NotFound);
        api.MapGet("/refused", ListNobodys).WithTags("Units").WithName("listNobodysRefusedMessages")
            .WithSummary("Messages on topics that name no unit, newest first; for keys that see every site.")
            .ProducesProblem(StatusCodes.Status404NotFound);
    }

    private static Results<Ok<PageJson<UnitJson>>, ProblemHttpResult> List(Caller caller, SiteDirectory directory, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem))
        {
            return problem;
        }

        var units = directory.Sites.Where(view => caller.Sees(view.Plan.Id)).SelectMany(view => view.Units)
            .OrderBy(unit => unit.Id).Where(unit => after is null || unit.Id > new UnitId(after)).Take(count + 1).Select(UnitJson.Of);
        return TypedResults.Ok(Query.Page([.. units], count, unit => unit.Unit));
    }

    private static Results<Ok<PageJson<RefusedJson>>, ProblemHttpResult> ListRefused(
        string unit, Caller caller, SiteDirectory directory, SeriesStore series, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem))
        {
            return problem;
        }

        if (!Visible(unit, caller, directory, series))
        {
            return NoUnit();
        }

        var refused = series.ListRefused(new(unit), after, count + 1).Select(Of).ToList();
        return TypedResults.Ok(Query.Page(refused, count, item => item.Id));
    }

    private static Results<Ok<PageJson<RefusedJson>>, ProblemHttpResult> ListNobodys(Caller caller, SeriesStore series, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem))
        {
            return problem;
        }

        return caller.Site is not null
            ? Problems.NotFound("There is nothing here.")
            : TypedResults.Ok(Query.Page([.. series.ListRefused(null, after, count + 1).Select(Of)], count, item => item.Id));
    }

    private static Results<FileContentHttpResult, ProblemHttpResult> GetRefused(
        string unit, string id, Caller caller, SiteDirectory directory, SeriesStore series)
    {
        if (!Visible(unit, caller, directory, series))
        {
            return NoUnit();
        }

        return Whole(new UnitId(unit), id, series);
    }

    private static Results<FileContentHttpResult, ProblemHttpResult> GetNobodys(string id, Caller caller, SeriesStore series) =>
        caller.Site is null ? Whole(null, id, series) : NoMessage();

    private static Results<FileContentHttpResult, ProblemHttpResult> Whole(UnitId? unit, string id, SeriesStore series) =>
        long.TryParse(id, NumberStyles.None, CultureInfo.InvariantCulture, out var number) && number < long.MaxValue
            && series.ListRefused(unit, (number + 1).ToString(CultureInfo.InvariantCulture), 1) is [{ } found] && found.Id == number
            ? TypedResults.File(found.Payload, MediaTypeNames.Application.Octet)
            : NoMessage();

    /// <summary>What strangers sent under a name that no site's file has is for those who see every site.</summary>
    public static bool Visible(string unit, Caller caller, SiteDirectory directory, SeriesStore series) =>
        IdRule.Holds(unit)
        && (directory.Sites.FirstOrDefault(view => view.Plan.FindUnit(new(unit)) is not null) is { } owner
            ? caller.Sees(owner.Plan.Id)
            : caller.Site is null && series.CountRefused(new(unit)) > 0);

    private static ProblemHttpResult NoMessage() => Problems.NotFound("There is no such message.");

    private static ProblemHttpResult NoUnit() => Problems.NotFound("There is no such unit.");

    private static RefusedJson Of(StoredRefusal refusal) => new(
        refusal.Id.ToString(CultureInfo.InvariantCulture), refusal.ReceivedAt, refusal.Topic, refusal.Reason, refusal.Detail, refusal.Length,
        Encoding.UTF8.GetString(refusal.Payload.AsSpan(0, Math.Min(ShownBytes, refusal.Payload.Length))), refusal.Length > ShownBytes);
}
