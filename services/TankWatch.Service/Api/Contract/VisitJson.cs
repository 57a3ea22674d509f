using System.Collections.Immutable;
using System.ComponentModel;
using System.Globalization;
using System.Text.Json;
using System.Text.Json.Serialization;
using TankWatch.Core.Contracts;
using TankWatch.Core.Findings;

namespace TankWatch.Service.Api.Contract;

[Description("Within how many minutes somebody answers an alert, by its priority; a priority that is left out has no target. At most 14400 each, ten days.")]
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record ResponseMinutesJson(int? Critical = null, int? High = null, int? Medium = null, int? Low = null);

[Description("What an installer promises for a site.")]
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record ContractJson(
    [property: Description("The first local day on which it holds.")] DateOnly Since,
    ResponseMinutesJson ResponseMinutes,
    [property: Description("In which those minutes run: 'always', or days and hours on the site's clock such as 'Mon-Fri 08:00-18:00, Sat 09:00-13:00'.")] string Hours = "always",
    [property: Description("Routine visits, 0 to 52.")] int VisitsPerYear = 0,
    [property: Description("Of the month, 1 to 28.")] int ReportDay = 1,
    [property: Description("The last local day, included; null while no end is agreed.")] DateOnly? Until = null)
{
    internal static ContractJson Of(Core.Contracts.Contract contract)
    {
        return new(
            contract.Since, new(Minutes(Priority.Critical), Minutes(Priority.High), Minutes(Priority.Medium), Minutes(Priority.Low)), contract.Hours.ToString(),
            contract.VisitsPerYear, contract.ReportDay, contract.Until);

        int? Minutes(Priority priority) => contract.ResponseMinutes.TryGetValue(priority, out var minutes) ? minutes : null;
    }

    /// <param name="fault">One sentence, when null is returned.</param>
    internal Core.Contracts.Contract? Read(out string? fault)
    {
        var minutes = ((Priority Priority, int? Minutes)[])
            [(Priority.Low, ResponseMinutes.Low), (Priority.Medium, ResponseMinutes.Medium), (Priority.High, ResponseMinutes.High), (Priority.Critical, ResponseMinutes.Critical)];
        var hours = WorkingHours.TryParse(Hours, out var read) ? read : null;
        fault = hours is null ? $"'hours' is {WorkingHours.InWords}."
            : minutes.Any(one => one.Minutes is < 1 or > Core.Contracts.Contract.MostResponseMinutes) ? $"'responseMinutes' are whole numbers from 1 to {Core.Contracts.Contract.MostResponseMinutes}."
            : VisitsPerYear is < 0 or > Core.Contracts.Contract.MostVisits ? $"'visitsPerYear' is a whole number from 0 to {Core.Contracts.Contract.MostVisits}."
            : ReportDay is < 1 or > Core.Contracts.Contract.LastReportDay ? $"'reportDay' is a whole number from 1 to {Core.Contracts.Contract.LastReportDay}."
            : Since.Year is < 2000 or > 9000 || Until < Since ? "'since' is a day from 2000 on, and 'until' is none before it."
            : null;
        return fault is not null ? null : new(
            Since, Until, minutes.Where(one => one.Minutes is not null).ToImmutableSortedDictionary(one => one.Priority, one => one.Minutes!.Value), hours!, VisitsPerYear, ReportDay);
    }
}

[Description("How alerts of one priority were answered in a month. Times are minutes that count by the contract's hours.")]
public sealed record PriorityMonthJson(
    string Priority,
    int TargetMinutes,
    int Told,
    int Kept,
    int Missed,
    [property: Description("Not answered yet, and there is time.")] int Running,
    [property: Description("Over by themselves in time, before anybody had answered.")] int Passed,
    [property: Description("Of those kept or missed; null for none.")] double? WorstMinutes,
    double? MedianMinutes)
{
    internal static PriorityMonthJson Of(PriorityMonth month) => new(
        FindingNames.Of(month.Priority), (int)month.Target.TotalMinutes, month.Told, month.Kept, month.Missed, month.Running, month.Passed,
        Minutes(month.Worst), Minutes(month.Median));

    internal static double? Minutes(TimeSpan? span) => span is { } known ? Math.Round(known.TotalMinutes, 1) : null;
}

[Description("An alert beside the contract.")]
public sealed record AlertResponseJson(
    string Alert,
    string Kind,
    string Device,
    string Priority,
    [property: Description("kept, missed, running or passed.")] string State,
    [property: Description("When people were first told.")] DateTimeOffset ToldAt,
    [property: Description("When somebody first acknowledged it, closed it or was there for it.")] DateTimeOffset? AnsweredAt,
    [property: Description("When the promised time is used up.")] DateTimeOffset Deadline,
    [property: Description("Minutes that count, so far when nobody has answered.")] double TakenMinutes)
{
    internal static AlertResponseJson Of(AlertResponse response) => new(
        response.Alert.Id, FindingNames.Of(response.Alert.Kind), response.Alert.Device.Value, FindingNames.Of(response.Alert.Priority),
        JsonNamingPolicy.KebabCaseLower.ConvertName(response.State.ToString()), response.Alert.ToldAt, response.Alert.AnsweredAt, response.Deadline,
        PriorityMonthJson.Minutes(response.Taken)!.Value);
}

[Description("What came of a contract in one month of the site's calendar.")]
public sealed record ContractMonthJson(
    [property: Description("Such as 2026-03.")] string Month,
    IReadOnlyList<PriorityMonthJson> Priorities,
    IReadOnlyList<AlertResponseJson> Responses,
    int VisitsDue,
    int VisitsPlanned,
    int VisitsDone,
    [property: Description("Visits done because of an alert.")] int CallOuts)
{
    internal static ContractMonthJson Of(ContractMonth month) => new(
        month.Month.ToString("yyyy-MM", CultureInfo.InvariantCulture), [.. month.Priorities.Select(PriorityMonthJson.Of)], [.. month.Responses.Select(AlertResponseJson.Of)],
        month.VisitsDue, month.VisitsPlanned, month.VisitsDone, month.CallOuts);
}

[Description("Who goes.")]
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record VisitorJson([property: Description("At most 100 characters.")] string Name, [property: Description("For the invitation; null for none.")] string? Email = null);

[Description("What was found about an alert, which is closed with it.")]
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record VisitFindingJson(string Alert, [property: Description("As for closing an alert.")] string CauseFound);

[Description("Somebody goes to a site.")]
public sealed record VisitJson(
    string Id,
    string Site,
    [property: Description("planned, done or cancelled.")] string State,
    DateTimeOffset StartsAt,
    int Minutes,
    VisitorJson Visitor,
    [property: Description("Addresses that were asked to it by mail.")] IReadOnlyList<string> Invited,
    [property: Description("Why; null for a routine visit.")] string? Alert,
    string PlannedBy,
    DateTimeOffset CreatedAt,
    [property: Description("How often it was changed.")] int Sequence,
    DateTimeOffset? DoneAt,
    IReadOnlyList<VisitFindingJson> Found,
    string? Notes)
{
    internal static VisitJson Of(Visit visit) => new(
        visit.Id, visit.Site.Value, JsonNamingPolicy.KebabCaseLower.ConvertName(visit.State.ToString()), visit.StartsAt, visit.Minutes,
        new(visit.Visitor.Name, visit.Visitor.Email), [.. visit.Invited.Select(person => person.Email!)], visit.Alert, visit.PlannedBy, visit.CreatedAt, visit.Sequence,
        visit.DoneAt, [.. visit.Found.Select(found => new VisitFindingJson(found.Alert, found.CauseFound))], visit.Notes);
}

[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record NewVisitJson(
    [property: Description("To come.")] DateTimeOffset StartsAt,
    [property: Description("How long, 5 to 1440.")] int Minutes,
    VisitorJson Visitor,
    [property: Description("Why: an alert of the site; null for a routine visit.")] string? Alert = null);

[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record MoveVisitJson([property: Description("To come.")] DateTimeOffset StartsAt, [property: Description("Null for as long as before.")] int? Minutes = null);

[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record VisitDoneJson(
    [property: Description("When somebody was there, after it was planned; null for now.")] DateTimeOffset? DoneAt = null,
    IReadOnlyList<VisitFindingJson>? Found = null,
    [property: Description("At most 2000 characters; also noted on the alerts that are closed.")] string? Notes = null);
