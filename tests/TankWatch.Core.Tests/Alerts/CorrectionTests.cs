using TankWatch.Core.Alerts;
using TankWatch.Core.Notifications;
using Xunit;

namespace TankWatch.Core.Tests.Alerts;

/// <summary>What late data change of what was told already.</summary>
public sealed class CorrectionTests
{
    private static Desk Raised() => new Desk().At("06:30").Findings("06:00", Desk.Found("06:10", since: "06:00"));

    [Fact]
    public void A_moved_finding_keeps_its_alert_and_is_marked()
    {
        var desk = Raised();
        var id = desk.One.Id;
        desk.At("07:00").Findings("05:00", Desk.Found("05:40", since: "05:30"));
        Assert.Equal((id, AlertCorrection.Moved, Scenario.TimeOf("05:40")), (desk.One.Id, desk.One.Correction, desk.One.Finding.RaisedAt));
        desk.At("08:00").Findings("07:30", Desk.Found("05:40", "08:00", "05:30"));
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
    }

    [Fact]
    public void A_withdrawn_finding_ends_its_alert_once_and_keeps_the_id()
    {
        var desk = Raised();
        var id = desk.One.Id;
        desk.At("07:00").Findings("05:00").At("07:05").Findings("05:00").At("12:00").Findings("11:00");
        Assert.Equal((id, AlertCorrection.Withdrawn, AlertState.Normal), (desk.One.Id, desk.One.Correction, desk.One.State));
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
    }

    [Fact]
    public void A_withdrawn_finding_that_comes_back_is_the_same_alert()
    {
        var desk = Raised();
        var id = desk.One.Id;
        desk.At("07:00").Findings("05:00").At("08:30").Findings("05:00", Desk.Found("06:10", since: "06:00"));
        Assert.Equal((id, AlertCorrection.Moved, AlertState.Unacknowledged), (desk.One.Id, desk.One.Correction, desk.One.State));
        desk.At("09:00").Findings("08:30", Desk.Found("06:10", "09:00", "06:00"));
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared, NotifyReason.Reopened, NotifyReason.Cleared], desk.ToldAda);
    }

    [Fact]
    public void A_withdrawn_past_episode_that_comes_back_is_withdrawn_no_longer()
    {
        var desk = Raised().At("07:00").Findings("06:30", Desk.Found("06:10", "07:00", "06:00"));
        desk.At("07:30").Findings("05:00");
        Assert.Equal(AlertCorrection.Withdrawn, desk.One.Correction);
        desk.At("08:00").Findings("05:00", Desk.Found("06:10", "07:00", "06:00"));
        Assert.NotEqual(AlertCorrection.Withdrawn, desk.One.Correction);
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
    }

    [Fact]
    public void Silence_about_the_time_before_the_changes_withdraws_nothing()
    {
        var desk = Raised().At("07:00").Findings("06:30", Desk.Found("06:10", "06:50", "06:00"));
        desk.At("08:00").Findings("06:50");
        Assert.Null(desk.One.Correction);
    }

    [Fact]
    public void A_finding_that_turns_out_to_have_cleared_earlier_is_moved_and_ended_once()
    {
        var desk = Raised().At("07:00").Findings("06:30", Desk.Found("06:10", "07:00", "06:00")).At("07:30").Findings("06:00", Desk.Found("06:10", "06:20", "06:00"));
        Assert.Equal((AlertCorrection.Moved, Scenario.TimeOf("06:20")), (desk.One.Correction, desk.One.Finding.ClearedAt!.Value));
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
    }

    [Fact]
    public void A_finding_that_turns_out_not_to_have_cleared_opens_again()
    {
        var desk = Raised().At("07:00").Findings("06:30", Desk.Found("06:10", "06:50", "06:00"));
        desk.Obeys(new Acknowledge(desk.One.Id, "ada", null));
        Assert.Equal(AlertState.Normal, desk.One.State);
        desk.At("07:10").Findings("06:00", Desk.Found("06:10", since: "06:00"));
        Assert.Equal(AlertState.Unacknowledged, desk.One.State);
    }

    [Fact]
    public void A_first_episode_that_moved_back_is_not_raised_again_once_a_second_followed()
    {
        var desk = Raised().At("06:35").Findings("06:00", Desk.Found("06:05", since: "06:00")).At("06:40").Findings("06:40", Desk.Found("06:05", "06:40", "06:00"))
            .At("06:50").Findings("06:50", Desk.Found("06:50"));
        desk.At("07:00").Findings("00:00", Desk.Found("06:05", "06:40", "06:00"), Desk.Found("06:50"));
        Assert.Equal((Scenario.TimeOf("06:05"), Scenario.TimeOf("06:50")), (desk.One.FirstRaisedAt, desk.One.Finding.RaisedAt));
    }

    [Fact]
    public void An_onset_that_moves_before_an_earlier_episode_stays_one_alert_each()
    {
        // Two episodes in one alert: replaying the first must neither raise it again nor confuse it with the second.
        var desk = Raised().At("06:40").Findings("06:40", Desk.Found("06:10", "06:40", "06:00")).At("06:50").Findings("06:50", Desk.Found("06:50"));
        desk.At("07:00").Findings("00:00", Desk.Found("06:10", "06:40", "06:00"), Desk.Found("06:50"));
        Assert.Equal(Scenario.TimeOf("06:50"), desk.One.Finding.RaisedAt);
        Assert.Null(desk.One.Correction);
    }
}
