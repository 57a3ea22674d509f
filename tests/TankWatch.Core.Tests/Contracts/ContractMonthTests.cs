using System.Collections.Immutable;
using TankWatch.Core.Contracts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using TankWatch.Core.Tests.Alerts;
using Xunit;

namespace TankWatch.Core.Tests.Contracts;

public sealed class ContractMonthTests
{
    private static readonly TimeZoneInfo Kolkata = TimeZoneInfo.FindSystemTimeZoneById("Asia/Kolkata");
    private static readonly DateTimeOffset March = new(2026, 2, 28, 18, 30, 0, TimeSpan.Zero); // CHECKS H2 [V]: a month of Kolkata begins at 18:30Z the day before.
    private static readonly DateTimeOffset Later = March.AddDays(40);

    private static readonly Contract Promise = new(
        new(2026, 1, 15), null, ImmutableSortedDictionary<Priority, int>.Empty.Add(Priority.Critical, 60).Add(Priority.High, 240), WorkingHours.Always, 4, 5);

    [Theory]
    [InlineData(59, null, ResponseState.Kept)]
    [InlineData(60, null, ResponseState.Kept)] // An answer at the deadline is in time.
    [InlineData(61, null, ResponseState.Missed)]
    [InlineData(null, null, ResponseState.Missed)]
    [InlineData(null, 30, ResponseState.Passed)]
    [InlineData(null, 61, ResponseState.Missed)] // It passed, but not before somebody should have come.
    [InlineData(90, 30, ResponseState.Passed)]
    [InlineData(50, 30, ResponseState.Kept)]
    public void An_answer_is_kept_or_missed_by_the_time_that_counts(int? answered, int? over, ResponseState state) =>
        Assert.Equal(state, AlertResponse.Of(Promise, Told(0, Priority.Critical, answered, over), Kolkata, Later)!.State);

    [Fact]
    public void Until_its_deadline_an_answer_is_still_awaited()
    {
        var alert = Told(0, Priority.Critical);
        var running = AlertResponse.Of(Promise, alert, Kolkata, March.AddMinutes(60))!;
        Assert.Equal((ResponseState.Running, TimeSpan.FromMinutes(60), March.AddMinutes(60)), (running.State, running.Taken, running.Deadline));
        Assert.Equal(ResponseState.Missed, AlertResponse.Of(Promise, alert, Kolkata, March.AddMinutes(60).AddTicks(1))!.State);
    }

    [Fact]
    public void What_was_not_promised_is_neither_kept_nor_missed()
    {
        Assert.Null(AlertResponse.Of(Promise, Told(0, Priority.Medium), Kolkata, Later));
        Assert.Null(AlertResponse.Of(Promise with { Since = new(2026, 3, 2) }, Told(0, Priority.Critical), Kolkata, Later));
        Assert.Null(AlertResponse.Of(Promise with { Until = new(2026, 2, 28) }, Told(0, Priority.Critical), Kolkata, Later));
        Assert.NotNull(AlertResponse.Of(Promise with { Since = new(2026, 3, 1), Until = new(2026, 3, 1) }, Told(0, Priority.Critical), Kolkata, Later));
    }

    [Fact]
    public void In_hours_that_count_the_night_is_no_delay()
    {
        Assert.True(WorkingHours.TryParse("Mon-Fri 08:00-18:00", out var hours));
        var office = Promise with { Hours = hours };
        var told = Told(5 * 24 * 60 + (17 * 60) + 30, Priority.Critical, 5 * 24 * 60 + (17 * 60) + 30 + (63 * 60)); // Friday 17:30, answered on Monday at 08:30 [D].
        var response = AlertResponse.Of(office, told, Kolkata, Later)!;
        Assert.Equal((ResponseState.Kept, TimeSpan.FromMinutes(60)), (response.State, response.Taken));
    }

    [Fact]
    public void A_month_counts_each_priority_with_its_worst_and_its_median()
    {
        ToldAlert[] alerts =
        [
            Told(0, Priority.Critical, 20), Told(100, Priority.Critical, 110), Told(200, Priority.Critical, 300), Told(400, Priority.Critical, 430),
            Told(500, Priority.Critical, over: 530), Told(600, Priority.High), Told(700, Priority.Low), Told(-1, Priority.Critical, 5), Told(31 * 24 * 60, Priority.Critical),
        ];
        var month = ContractMonth.Of(Promise, new(2026, 3, 17), alerts, [], Kolkata, March.AddMinutes(700));
        Assert.Equal(
            [
                new(Priority.Critical, TimeSpan.FromHours(1), 3, 1, 0, 1, TimeSpan.FromMinutes(100), TimeSpan.FromMinutes(25)), // 10, 20, 30, 100 [D].
                new(Priority.High, TimeSpan.FromHours(4), 0, 0, 1, 0, null, null),
            ],
            month.Priorities.AsEnumerable());
        Assert.Equal((3, 1, 1, 6), (month.Kept, month.Missed, month.Running, month.Responses.Length));
        Assert.Equal(new DateOnly(2026, 3, 1), month.Month);
    }

    [Theory]
    [InlineData(4, "0 0 1 0 0 1 0 0 1 0 0 1 0 0 1")]
    [InlineData(1, "0 0 0 0 0 0 0 0 0 0 0 1 0 0 0")]
    [InlineData(12, "1 1 1 1 1 1 1 1 1 1 1 1 1 1 1")]
    [InlineData(5, "0 0 1 0 1 0 0 1 0 1 0 1 0 0 1")]
    [InlineData(0, "0 0 0 0 0 0 0 0 0 0 0 0 0 0 0")]
    public void Routine_visits_fall_due_evenly_over_the_year_of_the_contract(int aYear, string due) =>
        Assert.Equal(due, string.Join(' ', Enumerable.Range(0, 15).Select(i => (Promise with { VisitsPerYear = aYear }).VisitsDueIn(new DateOnly(2026, 1, 1).AddMonths(i)))));

    [Fact]
    public void No_visit_is_due_outside_of_the_contract()
    {
        Assert.Equal(0, (Promise with { VisitsPerYear = 12 }).VisitsDueIn(new(2025, 12, 1)));
        Assert.Equal(0, (Promise with { VisitsPerYear = 12, Until = new(2026, 3, 31) }).VisitsDueIn(new(2026, 4, 1)));
        Assert.Equal(1, (Promise with { VisitsPerYear = 12, Until = new(2026, 3, 31) }).VisitsDueIn(new(2026, 3, 1)));
    }

    [Fact]
    public void A_month_counts_the_visits_of_its_own_days()
    {
        Visit[] visits =
        [
            Visit(0), Visit(-1), Visit(31 * 24 * 60), Visit(10, "a1"), Visit(20).Done(March.AddMinutes(25), [], null), Visit(-50).Done(March.AddMinutes(-45), [], null),
            Visit(30, "a1").Done(March.AddMinutes(35), [], null), Visit(40).Cancelled(),
        ];
        var month = ContractMonth.Of(Promise, new(2026, 3, 1), [], visits, Kolkata, Later);
        Assert.Equal((1, 1, 1, 1), (month.VisitsDue, month.VisitsPlanned, month.VisitsDone, month.CallOuts));
    }

    [Fact]
    public void The_time_runs_from_the_first_notice_to_the_first_acknowledgement()
    {
        var desk = new Desk().At("08:00").Findings("08:00", Desk.Found("08:00"));
        desk.At("08:20").Obeys(new Acknowledge(desk.One.Id, "ada", null));
        Assert.Equal((Scenario.TimeOf("08:00"), Scenario.TimeOf("08:20"), null), Times(desk));
        desk.At("09:00").Obeys(new Close(desk.One.Id, "di", "control-fault"));
        Assert.Equal((Scenario.TimeOf("08:00"), Scenario.TimeOf("08:20"), null), Times(desk));
    }

    [Fact]
    public void Closing_answers_too_and_what_ended_before_is_told_as_over()
    {
        var desk = new Desk().At("08:00").Findings("08:00", Desk.Found("08:00")).At("08:30").Findings("08:00", Desk.Found("08:00", "08:30"));
        Assert.Equal((Scenario.TimeOf("08:00"), null, Scenario.TimeOf("08:30")), Times(desk));
        desk.At("09:00").Obeys(new Close(desk.One.Id, "di", "control-fault"));
        Assert.Equal((Scenario.TimeOf("08:00"), Scenario.TimeOf("09:00"), Scenario.TimeOf("08:30")), Times(desk));
    }

    [Fact]
    public void A_visit_for_an_alert_answers_it_once_it_is_done()
    {
        var desk = new Desk().At("08:00").Findings("08:00", Desk.Found("08:00"));
        var planned = Visit(0, desk.One.Id);
        Assert.Null(Times(desk, planned).Answered);
        Assert.Equal(Scenario.TimeOf("10:00"), Times(desk, planned.Done(Scenario.TimeOf("10:00"), [], null)).Answered);
        Assert.Equal(Scenario.TimeOf("11:00"), Times(desk, Visit(0).Done(Scenario.TimeOf("11:00"), [new(desk.One.Id, "nothing-wrong")], null)).Answered);
        Assert.Null(Times(desk, Visit(0).Done(Scenario.TimeOf("11:00"), [], null)).Answered);
        desk.At("10:30").Obeys(new Acknowledge(desk.One.Id, "ada", null));
        Assert.Equal(Scenario.TimeOf("10:30"), Times(desk, planned with { State = VisitState.Done, DoneAt = Scenario.TimeOf("11:00") }).Answered);
    }

    [Fact]
    public void What_nobody_was_told_of_asks_for_no_answer() =>
        Assert.Null(ToldAlert.Of(new Desk().At("08:00").Findings("08:00", Desk.Found("08:00")).One, [], []));

    [Fact]
    public void Those_asked_are_the_visitor_and_the_caretakers_each_once()
    {
        Contact[] contacts =
        [
            new("Ada", "ada@example.org", null, "caretaker", "ta"), new("Bo", null, "+1", "caretaker", "en"), new("Cy", "cy@example.org", null, "caretaker", "en") { Declined = true },
            new("Di", "di@example.org", null, "installer", "pt"), new("Ed", "ed@example.org", null, "owner", "en"),
        ];
        var (visitor, invited) = Core.Contracts.Visit.Invite(new("Dina", "DI@example.org", "en"), contacts);
        Assert.Equal(new VisitPerson("Dina", "DI@example.org", "pt"), visitor);
        Assert.Equal(["DI@example.org", "ada@example.org"], invited.Select(person => person.Email));
        Assert.Equal(["ada@example.org"], Core.Contracts.Visit.Invite(new("Ada", "Ada@Example.org", "en"), contacts).Invited.Select(person => person.Email!.ToLowerInvariant()));
    }

    private static (DateTimeOffset Told, DateTimeOffset? Answered, DateTimeOffset? Over) Times(Desk desk, params Visit[] visits)
    {
        var told = ToldAlert.Of(desk.One, desk.Events, visits)!;
        return (told.ToldAt, told.AnsweredAt, told.OverAt);
    }

    /// <summary>In minutes from the first of the month.</summary>
    private static ToldAlert Told(int at, Priority priority, int? answered = null, int? over = null) => new(
        $"a{at}", FindingKind.NoStart, new("p1"), priority, March.AddMinutes(at), answered is { } a ? March.AddMinutes(a) : null, over is { } o ? March.AddMinutes(o) : null);

    private static Visit Visit(int at, string? alert = null) => new(
        $"v{at}", new("house"), March.AddMinutes(at), 60, new("Di", null, "en"), [], alert, "di", March.AddDays(-9));
}
