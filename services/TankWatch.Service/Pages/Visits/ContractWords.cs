using TankWatch.Core.Contracts;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Pages.Visits;

/// <summary>A contract, and what came of it, in plain words.</summary>
internal static class ContractWords
{
    /// <summary>What is promised, a sentence each.</summary>
    public static IReadOnlyList<string> Promises(Contract contract) =>
    [
        contract.Until is { } until
            ? Words.Say("contract.until", ("since", Day(contract.Since)), ("until", Day(until)))
            : Words.Say("contract.since", ("since", Day(contract.Since))),
        .. contract.ResponseMinutes.IsEmpty ? Array.Empty<string>() : [Words.Say("contract.targets", ("targets", PhraseList.Of(ListStyle.Comma, contract.ResponseMinutes.Reverse().Select(Of))))],
        contract.Hours.IsAlways
            ? Words.Say("contract.always")
            : Words.Say("contract.hours", ("hours", PhraseList.Of(ListStyle.Comma, contract.Hours.Spans.Select(Of)))),
        contract.VisitsPerYear == 0 ? Words.Say("contract.no-visits") : Words.Say("contract.visits", ("n", contract.VisitsPerYear)),
        Words.Say("contract.report", ("day", contract.ReportDay)),
    ];

    /// <summary>What came of it in a month: whether answers came in time first.</summary>
    public static IReadOnlyList<string> Told(ContractMonth month)
    {
        var (answered, passed) = (month.Kept + month.Missed, month.Priorities.Sum(priority => priority.Passed));
        return
        [
            .. month.Missed > 0 ? [Words.Say("contract.missed", ("missed", month.Missed), ("n", answered))]
                : answered > 0 ? [Words.Say("contract.kept", ("n", answered))]
                : month.Running + passed == 0 ? [Words.Say("contract.quiet")] : Array.Empty<string>(),
            .. month.Running > 0 ? [Words.Say("contract.running", ("n", month.Running))] : Array.Empty<string>(),
            .. passed > 0 ? [Words.Say("contract.passed", ("n", passed))] : Array.Empty<string>(),
            Words.Say("contract.visited", ("due", month.VisitsDue), ("planned", month.VisitsPlanned), ("done", month.VisitsDone)),
            .. month.CallOuts > 0 ? [Words.Say("contract.called", ("n", month.CallOuts))] : Array.Empty<string>(),
        ];
    }

    public static PriorityLine Line(PriorityMonth month) => new(
        Words.Say("contract.priority", ("priority", Terms.Of(month.Priority))), Words.Say(Span(month.Target)), Words.Number(month.Kept), Words.Number(month.Missed),
        Words.Number(month.Running), Said(month.Worst), Said(month.Median), month.Missed > 0);

    /// <summary>"90 minutes", "7 hours": as fine as it needs to be.</summary>
    public static Phrase Span(TimeSpan span) => span switch
    {
        { TotalMinutes: < 1 } and { Ticks: > 0 } => Phrase.Of("span.seconds", ("n", Math.Ceiling(span.TotalSeconds))),
        { TotalHours: < 3 } => Phrase.Of("span.minutes", ("n", Math.Round(span.TotalMinutes))),
        _ => Phrase.Of("span.hours", ("n", span.TotalHours)),
    };

    private static string Said(TimeSpan? span) => span is { } known ? Words.Say(Span(known)) : "–";

    private static Phrase Of(KeyValuePair<Priority, int> target) =>
        Phrase.Of("contract.target", ("priority", Terms.Of(target.Key)), ("span", Span(TimeSpan.FromMinutes(target.Value))));

    private static Phrase Of(WorkingSpan span) => span.First == span.Last
        ? Phrase.Of("contract.day", ("first", Weekday(span.First)), ("from", Clock(span.From)), ("to", Clock(span.To)))
        : Phrase.Of("contract.span", ("first", Weekday(span.First)), ("last", Weekday(span.Last)), ("from", Clock(span.From)), ("to", Clock(span.To)));

    /// <summary>The end of a day has no name on a clock but this one.</summary>
    private static PhraseValue Clock(int minute) => minute == 24 * 60 ? "24:00" : new PhraseClock(minute);

    private static PhraseMoment Day(DateOnly day) => new(new(day.ToDateTime(TimeOnly.MinValue), TimeSpan.Zero));

    /// <summary>4 January 2026 was a Sunday.</summary>
    private static PhraseMoment Weekday(DayOfWeek day) => Day(new DateOnly(2026, 1, 4).AddDays((int)day));
}
