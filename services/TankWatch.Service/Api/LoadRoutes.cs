using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <summary><c>/alerts/load</c> and <c>/alerts/record</c>: whether alerts are few and right enough to be heeded.</summary>
internal static class LoadRoutes
{
    public const string EndsBefore = "The time asked for ends before it begins.";

    public static void MapAlertLoad(this RouteGroupBuilder alerts)
    {
        alerts.MapGet("/load", Load).WithName("getAlertLoad").WithSummary("How much people were told, beside the figures of ISA-18.2.")
            .WithDescription("'person' is a mail address; without 'from', the last 30 days, or as long as anything is known.")
            .ProducesProblem(StatusCodes.Status404NotFound);
        alerts.MapGet("/record", Record).WithName("getAlertRecord").WithSummary("How often alerts were right, by what was found where they were closed.")
            .ProducesProblem(StatusCodes.Status404NotFound);
    }

    private static Results<Ok<AlertLoadJson>, ProblemHttpResult> Load(
        Caller caller, LedgerStore ledger, LoadReader reader, string? site, string? person, string? from, string? to)
    {
        if (!Query.TryTime("from", from, out var start, out var problem)
            || !Query.TryTime("to", to, out var end, out problem)
            || !AlertRoutes.TrySite(site, caller, ledger, out _, out problem))
        {
            return problem!;
        }

        return reader.Read(caller, site is null ? null : new(site), string.IsNullOrEmpty(person) ? null : person, start, end) is { } report
            ? TypedResults.Ok(AlertLoadJson.Of(report)) : Problems.BadRequest(EndsBefore);
    }

    private static Results<Ok<AlertRecordJson>, ProblemHttpResult> Record(Caller caller, LedgerStore ledger, LoadReader reader, string? site) =>
        AlertRoutes.TrySite(site, caller, ledger, out _, out var problem)
            ? TypedResults.Ok(AlertRecordJson.Of(reader.ReadRecord(caller, site is null ? null : new(site)))) : problem!;
}
