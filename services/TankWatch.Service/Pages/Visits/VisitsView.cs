using System.Globalization;
using TankWatch.Core.Alerts;
using TankWatch.Core.Contracts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Service.Sites;
using TankWatch.Service.Visits;

namespace TankWatch.Service.Pages.Visits;

/// <summary>A visit on a page.</summary>
/// <param name="Visit">The visit.</param>
/// <param name="When">"Tuesday 3 March, 10:00, for 60 minutes".</param>
/// <param name="Cause">The alert because of which somebody goes or went; null for a routine visit.</param>
/// <param name="Found">In words; may hold anything.</param>
public sealed record VisitLine(Visit Visit, string When, AlertLink? Cause, IReadOnlyList<string> Found);

/// <summary>An alert to point at.</summary>
/// <param name="Id">Its id.</param>
/// <param name="Kind">What it says.</param>
/// <param name="Name">"Leak: roof".</param>
public sealed record AlertLink(string Id, FindingKind Kind, string Name)
{
    internal static AlertLink Of(string id, FindingKind kind, Core.DeviceId device) =>
        new(id, kind, Words.Say("visits.of", ("kind", Terms.Name(kind)), ("device", device.Value)));

    internal static AlertLink Of(Alert alert) => Of(alert.Id, alert.Finding.Kind, alert.Finding.Device);
}

/// <summary>How alerts of one priority were answered.</summary>
public sealed record PriorityLine(string Name, string Target, string Kept, string Missed, string Running, string Worst, string Median, bool IsMissed);

/// <summary>An alert that was answered late, or is not answered yet.</summary>
public sealed record LateLine(AlertLink Alert, string Said);

/// <summary>What the page of a building's visits says.</summary>
/// <param name="Plan">The building.</param>
/// <param name="Heading">One sentence.</param>
/// <param name="Contract">What is promised, a sentence each; empty without a contract.</param>
/// <param name="Month">The first day of the one that is shown.</param>
/// <param name="Told">What came of it in that month, a sentence each.</param>
/// <param name="Priorities">The same by priority; empty when nobody was told of anything.</param>
/// <param name="Late">Answered late, or waiting.</param>
/// <param name="Planned">Visits, the next first.</param>
/// <param name="Past">Visits done or cancelled, the last first.</param>
/// <param name="Open">Alerts that a visit can be for.</param>
/// <param name="MayChange">The reader may plan and change visits.</param>
public sealed record VisitsView(
    SitePlan Plan, string Heading, IReadOnlyList<string> Contract, DateOnly Month, IReadOnlyList<string> Told, IReadOnlyList<PriorityLine> Priorities, IReadOnlyList<LateLine> Late,
    IReadOnlyList<VisitLine> Planned, IReadOnlyList<VisitLine> Past, IReadOnlyList<AlertLink> Open, bool MayChange)
{
    public string Address => $"/sites/{Plan.Id}/visits";

    public string MonthLink(int months) => $"{Address}?month={Month.AddMonths(months).ToString("yyyy-MM", CultureInfo.InvariantCulture)}";

    /// <summary>Whom the form to plan a visit begins with: the installer, if the building has one.</summary>
    public Contact? Installer => Plan.Contacts.FirstOrDefault(contact => contact is { Role: "installer", Email: not null });

    /// <param name="site">The building.</param>
    /// <param name="measured">Its contract and what came of it; null without one.</param>
    /// <param name="month">The one asked for.</param>
    /// <param name="visits">Of the building, the one that starts last first.</param>
    /// <param name="findAlert">By id.</param>
    /// <param name="mayChange">See <see cref="MayChange"/>.</param>
    /// <param name="now">UTC.</param>
    internal static VisitsView Of(
        SiteView site, MeasuredContract? measured, DateOnly month, IReadOnlyList<Visit> visits, Func<string, Alert?> findAlert, bool mayChange, DateTimeOffset now)
    {
        var (plan, zone) = (site.Plan, site.Plan.TimeZone);
        var planned = visits.Where(visit => visit.State == VisitState.Planned).Reverse().ToList();
        return new(
            plan, NextVisit(planned.FirstOrDefault(), zone, now) ?? Words.Say("visits.none"), measured is null ? [] : ContractWords.Promises(measured.Contract),
            new(month.Year, month.Month, 1), measured is null ? [] : ContractWords.Told(measured.Month), measured is { } told && told.Month.Priorities.Any(priority => priority.Told > 0) ? [.. told.Month.Priorities.Select(ContractWords.Line)] : [],
            measured is null ? [] : [.. measured.Month.Responses.Where(r => r.State is ResponseState.Missed or ResponseState.Running).Select(r => LateOf(r, measured.Contract, zone))],
            [.. planned.Select(LineOf)], [.. visits.Where(visit => visit.State != VisitState.Planned).Select(LineOf)],
            [.. site.OpenAlerts.Select(AlertLink.Of)], mayChange);

        VisitLine LineOf(Visit visit) => new(
            visit, Words.Say("visits.line", ("at", PhraseMoment.In(zone, visit.StartsAt)), ("span", Phrase.Of("span.minutes", ("n", visit.Minutes)))),
            visit.Alert is { } alert && findAlert(alert) is { } cause ? AlertLink.Of(cause) : null,
            [.. visit.Found.Select(found => Alerts.FoundWords.Of(found.CauseFound))]);
    }

    /// <summary>"Next visit: Tuesday 3 March, 10:00"; null when none is planned.</summary>
    public static string? NextVisit(Visit? next, TimeZoneInfo zone, DateTimeOffset now) => next is null ? null
        : next.EndsAt > now ? Words.Say("visits.next", ("at", PhraseMoment.In(zone, next.StartsAt)))
        : Words.Say("visits.overdue", ("at", PhraseMoment.In(zone, next.StartsAt)));

    private static LateLine LateOf(AlertResponse response, Contract contract, TimeZoneInfo zone)
    {
        var alert = response.Alert;
        return new(AlertLink.Of(alert.Id, alert.Kind, alert.Device), response switch
        {
            { State: ResponseState.Running } => Words.Say("contract.due", ("at", PhraseMoment.In(zone, response.Deadline))),
            { Alert.AnsweredAt: { } answered } => Words.Say(
                "contract.late", ("at", PhraseMoment.In(zone, answered)), ("taken", ContractWords.Span(response.Taken)),
                ("target", ContractWords.Span(contract.TargetFor(alert.Priority)!.Value))),
            _ => Words.Say("contract.unanswered", ("at", PhraseMoment.In(zone, response.Deadline))),
        });
    }
}
