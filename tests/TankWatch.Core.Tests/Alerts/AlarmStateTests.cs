using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using Xunit;

namespace TankWatch.Core.Tests.Alerts;

public sealed class AlarmStateTests
{
    /// <summary>
    /// CHECKS F1 [V]: OPC 10000-9 v1.05.03, annex B.1.2, table B.1, without its confirm step: Retain is Active or not Acked. One alert
    /// stands for the condition until it is neither; the next activation begins another.
    /// </summary>
    [Fact]
    public void Each_row_of_the_alarm_table_has_its_state()
    {
        var desk = new Desk();
        void Row(bool active, bool acked, AlertState state)
        {
            var alert = desk.Alerts.Alerts[^1];
            Assert.Equal((active, acked, state), (alert.Finding.IsOpen, alert.State is AlertState.Acknowledged or AlertState.Normal, alert.State));
            Assert.Equal(active || !acked, alert.IsOpen); // Retain.
        }

        Assert.Empty(desk.Alerts.Alerts); // 0: neither active nor anything to acknowledge.
        desk.At("06:00").Findings("06:00", Desk.Found("06:00"));
        Row(true, false, AlertState.Unacknowledged); // 1
        desk.At("06:05").Obeys(new Acknowledge(desk.One.Id, "ada", null));
        Row(true, true, AlertState.Acknowledged); // 2
        desk.At("06:10").Findings("06:10", Desk.Found("06:00", "06:10"));
        Row(false, true, AlertState.Normal); // 3, and 4 without a confirm step
        desk.At("07:00").Findings("07:00", Desk.Found("07:00"));
        Row(true, false, AlertState.Unacknowledged); // 5
        desk.At("07:10").Findings("07:10", Desk.Found("07:00", "07:10"));
        Row(false, false, AlertState.ReturnedUnacknowledged); // 6
        desk.At("07:20").Obeys(new Acknowledge(desk.Alerts.Alerts[^1].Id, "ada", null));
        Row(false, true, AlertState.Normal); // 7, and 8
        Assert.Equal(2, desk.Alerts.Alerts.Length);
        Assert.True(string.CompareOrdinal(desk.Alerts.Alerts[0].Id, desk.Alerts.Alerts[1].Id) < 0); // Ids ascend by creation.
    }

    [Fact]
    public void A_condition_that_comes_back_before_it_was_acknowledged_is_the_same_alert()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00"));
        var id = desk.One.Id;
        desk.At("06:10").Findings("06:10", Desk.Found("06:00", "06:10")).At("06:20").Findings("06:20", Desk.Found("06:20"));
        Assert.Equal((id, AlertState.Unacknowledged), (desk.One.Id, desk.One.State));
        Assert.Equal(Scenario.TimeOf("06:00"), desk.One.FirstRaisedAt);
        Assert.Equal(Scenario.TimeOf("06:20"), desk.One.Finding.RaisedAt);
    }

    [Fact]
    public void Coming_back_resets_the_acknowledgement()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00"));
        desk.Obeys(new Shelve(desk.One.Id, "ada", Scenario.TimeOf("09:00"), "mending"), new Acknowledge(desk.One.Id, "ada", null));
        Assert.Equal(AlertState.Shelved, desk.One.State); // What is shelved is not acknowledged as well.
        desk.At("06:30").Obeys(new Unshelve(desk.One.Id, "ada"), new Acknowledge(desk.One.Id, "ada", "seen"));
        Assert.Equal(("ada", Scenario.TimeOf("06:30")), (desk.One.AcknowledgedBy, desk.One.AcknowledgedAt!.Value));
    }

    [Fact]
    public void A_shelf_expires_and_the_alert_comes_back_unacknowledged()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00"));
        desk.Obeys(new Acknowledge(desk.One.Id, "ada", null), new Shelve(desk.One.Id, "ada", Scenario.TimeOf("08:00"), "waiting for a part"));
        Assert.Equal(AlertState.Shelved, desk.At("07:59").Waits().One.State);
        desk.At("08:00").Waits();
        Assert.Equal((AlertState.Unacknowledged, null, null), (desk.One.State, desk.One.AcknowledgedBy, desk.One.ShelvedUntil));
        Assert.Null(Assert.IsType<AlertUnshelved>(desk.Events[^2]).By);
        Assert.Equal([NotifyReason.Opened, NotifyReason.StillHolds], desk.ToldAda);
    }

    [Fact] // CHECKS F2 [V]: OPC 10000-9, 5.8.17, a timed shelf expires by time, however many transitions occur.
    public void A_shelf_lasts_as_long_however_often_the_condition_comes_and_goes()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00")).ShelvedUntil("08:00");
        for (var minute = 5; minute < 60; minute += 5)
        {
            var (last, now) = ($"07:{minute - 5:00}", $"07:{minute:00}");
            desk.At(now).Findings(now, minute % 10 == 0 ? Desk.Found(now) : Desk.Found(minute == 5 ? "06:00" : last, now));
            Assert.Equal((AlertState.Shelved, Scenario.TimeOf("08:00")), (desk.One.State, desk.One.ShelvedUntil!.Value));
        }

        Assert.Equal([NotifyReason.Opened], desk.ToldAda);
        Assert.Equal(AlertState.Shelved, desk.At("07:59").Waits().One.State);
        Assert.NotEqual(AlertState.Shelved, desk.At("08:00").Waits().One.State);
    }

    [Fact]
    public void A_shelf_that_has_ended_already_holds_nothing() =>
        Assert.Equal(AlertState.Unacknowledged, new Desk().At("06:00").Findings("06:00", Desk.Found("06:00")).ShelvedUntil("06:00").One.State);

    [Fact]
    public void What_cleared_on_the_shelf_ends_once_it_is_off()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00")).ShelvedUntil("08:00");
        desk.At("07:00").Findings("07:00", Desk.Found("06:00", "07:00"));
        Assert.Equal(AlertState.Shelved, desk.One.State);
        Assert.Equal([NotifyReason.Opened], desk.ToldAda);
        desk.At("08:00").Waits();
        Assert.Equal(AlertState.ReturnedUnacknowledged, desk.One.State);
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
    }

    [Fact] // CHECKS F3 [M]: ISA-18.2-2016 / IEC 62682, shelved is by a person and for a time; out of service is for repair, and has none.
    public void Out_of_service_lasts_until_it_is_returned()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00"));
        desk.Obeys(new TakeOutOfService(desk.One.Id, "ada", "new pump"));
        Assert.Equal(AlertState.OutOfService, desk.At("9d 00:00").Waits().One.State);
        desk.Obeys(new ReturnToService(desk.One.Id, "ada"));
        Assert.Equal(AlertState.Unacknowledged, desk.One.State);
    }

    [Fact]
    public void Closing_ends_it_for_people_whatever_the_water_does()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00"));
        desk.At("07:00").Obeys(new Close(desk.One.Id, "ada", "stuck relay"));
        Assert.Equal((AlertState.Normal, "stuck relay"), (desk.One.State, desk.One.CauseFound));
        desk.At("07:10").Findings("07:05", Desk.Found("06:00")).At("08:00").Findings("07:30", Desk.Found("06:00", "08:00"));
        Assert.Equal(AlertState.Normal, desk.One.State);
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
        desk.At("09:00").Findings("09:00", Desk.Found("09:00"));
        Assert.Equal(2, desk.Alerts.Alerts.Length);
    }

    [Fact]
    public void Notes_are_kept_and_unknown_alerts_are_left_alone()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00"));
        desk.Obeys(new AddNote(desk.One.Id, "ada", "on my way"), new Acknowledge("nobody", "ada", null), new Close("nobody", "ada", "x"));
        Assert.Equal("on my way", Assert.IsType<AlertNoted>(desk.Events[^1]).Note);
        desk.Obeys(new Acknowledge(desk.One.Id, "ada", "a"), new Acknowledge(desk.One.Id, "bo", "b"));
        Assert.Equal(("ada", "b"), (desk.One.AcknowledgedBy, Assert.IsType<AlertNoted>(desk.Events[^1]).Note));
    }

    [Fact]
    public void Kinds_and_scopes_do_not_touch_each_other()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00"), Desk.Found("06:00", kind: FindingKind.LeftInManual));
        Assert.Equal(2, desk.Alerts.Alerts.Length);
        var silent = Desk.Found("06:30", kind: FindingKind.UnitSilent);
        desk.At("06:30").Tell([new(FindingScope.Link, Scenario.TimeOf("06:00"), [silent])], caughtUp: true);
        Assert.Equal(3, desk.Alerts.Alerts.Count(a => a.State == AlertState.Unacknowledged));
        desk.At("06:40").Findings("06:40", Desk.Found("06:00"), Desk.Found("06:00", "06:40", kind: FindingKind.LeftInManual));
        Assert.Equal(2, desk.Alerts.Alerts.Count(a => a.State == AlertState.Unacknowledged));
    }
}

internal static class DeskSteps
{
    public static Desk ShelvedUntil(this Desk desk, string until) =>
        desk.Obeys(new Shelve(desk.One.Id, "ada", Scenario.TimeOf(until), "known"));
}
