using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Time;

namespace TankWatch.Core.Contracts;

/// <summary>How alerts of one priority were answered in a month.</summary>
/// <param name="Priority">Theirs.</param>
/// <param name="Target">What was promised.</param>
/// <param name="Kept">How many were answered in time.</param>
/// <param name="Missed">How many were not.</param>
/// <param name="Running">How many still may be.</param>
/// <param name="Passed">How many were over before anybody had to answer.</param>
/// <param name="Worst">The longest time of those kept or missed, so far for one that nobody has answered; null for none.</param>
/// <param name="Median">Of the same; the mean of the middle two of an even number.</param>
public sealed record PriorityMonth(Priority Priority, TimeSpan Target, int Kept, int Missed, int Running, int Passed, TimeSpan? Worst, TimeSpan? Median)
{
    public int Told => Kept + Missed + Running + Passed;

    internal static PriorityMonth Of(Priority priority, TimeSpan target, IReadOnlyList<AlertResponse> responses)
    {
        var taken = responses.Where(r => r.State is ResponseState.Kept or ResponseState.Missed).Select(r => r.Taken).Order().ToList();
        return new(
            priority, target, Count(ResponseState.Kept), Count(ResponseState.Missed), Count(ResponseState.Running), Count(ResponseState.Passed),
            taken.Count == 0 ? null : taken[^1], taken.Count == 0 ? null : (taken[(taken.Count - 1) / 2] + taken[taken.Count / 2]) / 2);

        int Count(ResponseState state) => responses.Count(r => r.State == state);
    }
}

/// <summary>What came of a contract in one local month.</summary>
/// <param name="Month">Its first day.</param>
/// <param name="Priorities">Those with a target, the gravest first.</param>
/// <param name="Responses">To alerts that people were told of in the month, in that order.</param>
/// <param name="VisitsDue">Routine visits that fall due in the month.</param>
/// <param name="VisitsPlanned">Routine visits to come in the month.</param>
/// <param name="VisitsDone">Routine visits done in the month.</param>
/// <param name="CallOuts">Visits done in the month because of an alert.</param>
public sealed record ContractMonth(
    DateOnly Month, ImmutableArray<PriorityMonth> Priorities, ImmutableArray<AlertResponse> Responses, int VisitsDue, int VisitsPlanned, int VisitsDone, int CallOuts)
{
    public int Kept => Priorities.Sum(priority => priority.Kept);

    public int Missed => Priorities.Sum(priority => priority.Missed);

    public int Running => Priorities.Sum(priority => priority.Running);

    /// <param name="contract">In force or not: days outside of it count nothing.</param>
    /// <param name="month">Any day of the month.</param>
    /// <param name="alerts">Of the site, told in the month; others are left out.</param>
    /// <param name="visits">Of the site.</param>
    /// <param name="zone">The site's.</param>
    /// <param name="now">Wall clock.</param>
    public static ContractMonth Of(Contract contract, DateOnly month, IEnumerable<ToldAlert> alerts, IReadOnlyList<Visit> visits, TimeZoneInfo zone, DateTimeOffset now)
    {
        var first = new DateOnly(month.Year, month.Month, 1);
        var responses = alerts.Where(alert => IsIn(alert.ToldAt)).OrderBy(alert => alert.ToldAt).ThenBy(alert => alert.Id, StringComparer.Ordinal)
            .Select(alert => AlertResponse.Of(contract, alert, zone, now)).OfType<AlertResponse>().ToImmutableArray();
        var done = visits.Where(visit => visit is { State: VisitState.Done, DoneAt: { } at } && IsIn(at)).ToList();
        return new(
            first,
            [.. contract.ResponseMinutes.Keys.OrderDescending().Select(priority =>
                PriorityMonth.Of(priority, contract.TargetFor(priority)!.Value, [.. responses.Where(r => r.Alert.Priority == priority)]))],
            responses, contract.VisitsDueIn(first), visits.Count(visit => visit is { State: VisitState.Planned, IsRoutine: true } && IsIn(visit.StartsAt)),
            done.Count(visit => visit.IsRoutine), done.Count(visit => !visit.IsRoutine));

        bool IsIn(DateTimeOffset at) => LocalDays.DateOf(at, zone) is var day && day.Year == first.Year && day.Month == first.Month;
    }
}
