using TankWatch.Core.Alerts;
using TankWatch.Core.Alerts.Load;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using Xunit;

namespace TankWatch.Core.Tests.Alerts.Load;

/// <summary>What the life of an alert told people, as real lives make the events.</summary>
public sealed class AnnunciationTests
{
    [Fact]
    public void An_alert_that_holds_is_told_once_and_stands()
    {
        var desk = new Desk().At("05:01").Findings("05:00", Desk.Found("05:00"));
        var told = Assert.Single(Of(desk));
        Assert.Equal(new(desk.One.Id, desk.One.Notices[0].Number, new(new("house"), new("p1"), FindingKind.OverflowRisk), Priority.Critical, Scenario.TimeOf("05:01"), Scenario.TimeOf("05:00"), null), told);
    }

    [Fact]
    public void Its_ending_is_no_load_and_is_when_the_condition_ceased()
    {
        var desk = new Desk().At("05:01").Findings("05:00", Desk.Found("05:00")).At("05:31").Findings("05:00", Desk.Found("05:00", "05:30"));
        Assert.Equal(Scenario.TimeOf("05:30"), Assert.Single(Of(desk)).ActiveUntil);
    }

    [Fact]
    public void What_comes_back_and_is_told_again_is_load_again_each_with_its_own_time()
    {
        var (first, second) = (Desk.Found("05:00", "05:30"), Desk.Found("07:00", "07:10"));
        var desk = new Desk().At("05:01").Findings("05:00", Desk.Found("05:00")).At("05:31").Findings("05:00", first)
            .At("07:01").Findings("05:00", first, Desk.Found("07:00")).At("07:11").Findings("05:00", first, second);
        Assert.Equal(
            [("05:01", "05:00", "05:30"), ("07:01", "07:00", "07:10")],
            Of(desk).Select(told => (Clock(told.At), Clock(told.ActiveFrom), Clock(told.ActiveUntil!.Value))));
    }

    [Fact]
    public void What_comes_back_within_the_pause_and_is_not_told_is_no_load()
    {
        var first = Desk.Found("05:00", "05:30");
        var desk = new Desk().At("05:01").Findings("05:00", Desk.Found("05:00")).At("05:31").Findings("05:00", first)
            .At("05:46").Findings("05:00", first, Desk.Found("05:45"));
        Assert.Equal(["05:30"], Of(desk).Select(told => Clock(told.ActiveUntil!.Value)));
    }

    [Fact]
    public void Closing_it_or_putting_it_aside_ends_it_for_people()
    {
        var desk = new Desk().At("05:01").Findings("05:00", Desk.Found("05:00")).At("06:00").Obeys(new Close(IdOf("05:01"), "ada", "stuck relay"));
        Assert.Equal("06:00", Clock(Assert.Single(Of(desk)).ActiveUntil!.Value));
        desk = new Desk().At("05:01").Findings("05:00", Desk.Found("05:00")).At("06:00").Obeys(new Shelve(IdOf("05:01"), "ada", Scenario.TimeOf("09:00"), "known"));
        Assert.Equal("06:00", Clock(Assert.Single(Of(desk)).ActiveUntil!.Value));
    }

    [Fact]
    public void What_is_passed_on_is_told_again_for_the_next_people_and_stands_once()
    {
        var raised = new AlertRaised("a", Scenario.TimeOf("05:00"), new("house"), Desk.Found("05:00", priority: Priority.High));
        AlertEvent[] events =
        [
            raised, Told("05:01", NotifyReason.Opened), Told("06:01", NotifyReason.Escalated), new AlertNotified("a", Scenario.TimeOf("07:00"), NotifyReason.Graver, Gravest: Priority.Critical),
            new AlertReturned("a", Scenario.TimeOf("08:01"), Desk.Found("05:00", "08:00", priority: Priority.High)), Told("08:01", NotifyReason.Cleared),
        ];
        var told = Annunciation.Of(events.Select((happened, number) => (number, happened)));
        Assert.Equal([(1, false, Priority.High), (2, true, Priority.High), (3, false, Priority.Critical)], told.Select(one => (one.Number, one.IsPassedOn, one.Priority)));
        Assert.All(told, one => Assert.Equal(Scenario.TimeOf("08:00"), one.ActiveUntil));
        var open = told.Select(one => one with { ActiveUntil = null }).ToArray();
        Assert.Equal((1, 1), (LoadMeasure.Of(open, Scenario.TimeOf("05:00"), Scenario.TimeOf("05:00").AddDays(3)).Stale.Length, LoadMeasure.Of(open, Scenario.TimeOf("05:00"), Scenario.TimeOf("05:00").AddDays(3)).MostStale));

        static AlertNotified Told(string clock, NotifyReason reason) => new("a", Scenario.TimeOf(clock), reason);
    }

    [Fact]
    public void What_another_alert_explains_does_not_stand_until_it_is_released()
    {
        AlertEvent[] events =
        [
            new AlertRaised("a", Scenario.TimeOf("05:00"), new("house"), Desk.Found("05:00")), new AlertNotified("a", Scenario.TimeOf("05:01"), NotifyReason.Opened),
            new AlertSuppressed("a", Scenario.TimeOf("06:00"), "b"), new AlertReleased("a", Scenario.TimeOf("09:00")),
            new AlertNotified("a", Scenario.TimeOf("09:00"), NotifyReason.StillHolds),
        ];
        Assert.Equal(
            [("05:01", "06:00"), ("09:00", null)],
            Annunciation.Of(events.Select((happened, number) => (number, happened))).Select(told => (Clock(told.At), told.ActiveUntil is { } until ? Clock(until) : null)));
    }

    [Fact]
    public void What_a_backlog_revealed_and_was_never_told_is_no_load() =>
        Assert.Empty(Of(new Desk().At("09:00").CatchingUp("05:00", Desk.Found("05:00", "06:00"))));

    private static List<Annunciation> Of(Desk desk) => [.. Annunciation.Of(desk.Events.Select((happened, number) => (number, happened)))];

    private static string IdOf(string clock) => new Desk().At(clock).Findings("05:00", Desk.Found("05:00")).One.Id;

    private static string Clock(DateTimeOffset at) => at.ToString("HH:mm", System.Globalization.CultureInfo.InvariantCulture);
}
