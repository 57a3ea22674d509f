using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using Xunit;

namespace TankWatch.Core.Tests.Alerts;

public sealed class NotificationTests
{
    [Fact]
    public void Everyone_with_an_address_is_told_once_that_it_holds_and_once_that_it_ended()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00")).At("06:10").Findings("06:05", Desk.Found("06:00"))
            .At("06:20").Findings("06:20", Desk.Found("06:00", "06:20")).At("07:00").Waits();
        Assert.Equal(["Ada Opened", "Bo Opened", "Ada Cleared", "Bo Cleared"], desk.Mails.Select(m => $"{m.To.Name} {m.Reason}"));
        Assert.Equal(Scenario.TimeOf("06:00"), desk.One.NotifiedAt);
    }

    [Fact]
    public void Mails_of_one_alert_to_one_person_form_a_thread()
    {
        // CHECKS J2 [M]: RFC 5322, 3.6.4: References hold the parent's references and the parent.
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00")).At("06:20").Findings("06:20", Desk.Found("06:00", "06:20"))
            .At("08:00").Findings("08:00", Desk.Found("08:00")).At("08:10").Findings("08:10", Desk.Found("08:00", "08:10"));
        foreach (var person in new[] { "Ada", "Bo" })
        {
            var mails = desk.Mails.Where(m => m.To.Name == person).ToList();
            Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared, NotifyReason.Reopened, NotifyReason.Cleared], mails.Select(m => m.Reason));
            for (var i = 0; i < mails.Count; i++)
            {
                Assert.Equal(mails.Take(i).Select(m => m.Key), mails[i].ThreadKeys);
            }
        }

        Assert.Equal(desk.Mails.Count, desk.Mails.Select(m => m.Key).Distinct().Count());
        Assert.DoesNotContain(desk.Mails, m => m.Key.Contains("example", StringComparison.Ordinal)); // A key goes into a header: no address in it.
    }

    [Fact]
    public void Coming_back_within_the_hour_is_told_only_once_the_hour_is_over()
    {
        var desk = new Desk().At("06:00").Findings("06:00", High("06:00")).At("06:10").Findings("06:10", High("06:00", "06:10")).At("06:20").Findings("06:20", High("06:20"));
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
        desk.At("07:09").Waits();
        Assert.Equal(2, desk.ToldAda.Count());
        desk.At("07:10").Waits();
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared, NotifyReason.Reopened], desk.ToldAda);

        static Finding High(string raised, string? cleared = null) => Desk.Found(raised, cleared, priority: Priority.High);
    }

    [Fact]
    public void Coming_and_going_within_the_hour_is_not_told_again()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00")).At("06:10").Findings("06:10", Desk.Found("06:00", "06:10"));
        for (var minute = 12; minute < 60; minute += 4)
        {
            var (raised, cleared) = ($"06:{minute}", $"06:{minute + 2}");
            desk.At(raised).Findings(raised, Desk.Found(raised)).At(cleared).Findings(cleared, Desk.Found(raised, cleared));
        }

        desk.At("12:00").Waits();
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
        Assert.Single(desk.Alerts.Alerts);
    }

    [Fact]
    public void What_a_backlog_reveals_and_has_cleared_is_recorded_and_told_nobody()
    {
        var desk = new Desk().At("1d 06:00").CatchingUp("06:00", Desk.Found("06:00", "07:00")).At("1d 06:01").Findings("09:00");
        Assert.Equal((AlertState.Normal, null), (desk.One.State, desk.One.NotifiedAt));
        Assert.Empty(desk.Mails);
    }

    [Fact]
    public void What_opens_while_catching_up_and_clears_before_the_end_is_told_nobody()
    {
        var desk = new Desk().At("1d 06:00").CatchingUp("06:00", Desk.Found("06:00")).At("1d 06:01").CatchingUp("06:30", Desk.Found("06:00", "07:00")).At("1d 06:02").Findings("08:00");
        Assert.Equal(AlertState.Normal, desk.One.State);
        Assert.Empty(desk.Mails);
    }

    [Fact]
    public void What_is_still_open_after_catching_up_is_told_once_with_its_onset()
    {
        var desk = new Desk().At("1d 06:00").CatchingUp("06:00", Desk.Found("06:00", since: "05:30"));
        Assert.Empty(desk.Mails);
        desk.At("1d 06:01").Findings("1d 05:00", Desk.Found("06:00", since: "05:30")).At("1d 06:02").Findings("1d 06:01", Desk.Found("06:00", since: "05:30"));
        Assert.Equal([NotifyReason.Opened], desk.ToldAda);
        Assert.Equal(Scenario.TimeOf("05:30"), desk.Mails[0].Alert.Finding.Since);
    }

    [Fact]
    public void An_ending_is_owed_across_a_restart_and_paid_once()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00")).At("09:00").CatchingUp("00:00", Desk.Found("06:00", "07:00"));
        Assert.Equal([NotifyReason.Opened], desk.ToldAda);
        desk.At("09:01").Findings("08:00").At("09:02").Findings("00:00", Desk.Found("06:00", "07:00"));
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
    }

    [Fact]
    public void Information_goes_by_no_mail() =>
        Assert.Empty(new Desk().At("06:00").Findings("06:00", Desk.Found("06:00", kind: FindingKind.SlowFill, priority: Priority.Low)).Mails);

    [Fact]
    public void Nobody_is_told_of_what_is_shelved_before_it_could_be_told()
    {
        var desk = new Desk().At("06:00").CatchingUp("06:00", Desk.Found("06:00"));
        desk.ShelvedUntil("09:00").At("06:30").Waits();
        Assert.Empty(desk.Mails);
        desk.At("09:00").Waits();
        Assert.Equal([NotifyReason.Opened], desk.ToldAda);
    }

    [Theory]
    [InlineData(false, NotifyReason.CatchingUp)]
    [InlineData(true, NotifyReason.Opened)]
    public void The_reason_for_silence_is_given_too(bool caughtUp, NotifyReason reason)
    {
        var alert = new Desk().At("06:00").CatchingUp("06:00", Desk.Found("06:00")).One;
        Assert.Equal(reason, Why(alert));
        Assert.Equal(NotifyReason.OnShelf, Why(alert with { State = AlertState.Shelved }));
        Assert.Equal(NotifyReason.Explained, Why(alert with { State = AlertState.Suppressed }));
        Assert.Equal(NotifyReason.NobodyToTell, DutyRoster.WhyNot(alert, new("Cy", null, "+1", "caretaker", "en")));

        NotifyReason Why(Alert a) => NotificationPlan.Why(a, [], new(Scenario.TimeOf("06:01"), caughtUp, [], []));
    }

    [Fact]
    public void What_is_critical_and_has_held_again_for_five_minutes_is_told_whatever_was_told_before()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00")).At("06:10").Findings("06:05", Desk.Found("06:00", "06:10"))
            .At("06:20").Findings("06:15", Desk.Found("06:20")).At(Scenario.TimeOf("06:25").AddSeconds(-1)).Waits();
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
        desk.At("06:25").Waits();
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared, NotifyReason.Reopened], desk.ToldAda);
    }

    [Fact]
    public void What_is_critical_and_comes_and_goes_is_two_notices_an_hour_while_it_never_holds_for_five_minutes()
    {
        var desk = new Desk();
        for (var minute = 0; minute < 56; minute += 4)
        {
            var (raised, cleared) = ($"06:{minute:00}", $"06:{minute + 3:00}");
            desk.At(raised).Findings(raised, Desk.Found(raised)).At(cleared).Findings(raised, Desk.Found(raised, cleared)).At(Scenario.TimeOf(cleared).AddSeconds(30)).Waits();
        }

        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared], desk.ToldAda);
    }

    [Fact]
    public void A_critical_consequence_is_told_though_its_cause_came_back_a_short_while_after_it_was_over()
    {
        Finding Supply(string raised, string? cleared = null) => Desk.Found(raised, cleared, kind: FindingKind.LowSupply, priority: Priority.High) with { Device = new("sump") };
        var empty = Desk.Found("06:22", kind: FindingKind.RunningOut) with { Device = new("roof") };
        var desk = new Desk().At("06:00").Findings("06:00", Supply("06:00")).At("06:10").Findings("06:05", Supply("06:00", "06:10"))
            .At("06:20").Findings("06:15", Supply("06:20")).At("06:22").Findings("06:22", Supply("06:20"), empty).At("06:27").Waits();
        Assert.Equal([NotifyReason.Opened, NotifyReason.Cleared, NotifyReason.Reopened], desk.ToldAda);
        Assert.Equal(Priority.Critical, desk.Mails[^1].Alert.Gravity);
    }

    [Fact]
    public void An_alert_that_nobody_ever_acknowledges_keeps_its_first_notice_and_its_newest_ones_only()
    {
        var desk = new Desk();
        for (var day = 0; day < 60; day++)
        {
            desk.At($"{day}d 06:00").Findings($"{day}d 06:00", Desk.Found($"{day}d 06:00")).At($"{day}d 07:00").Findings($"{day}d 06:30", Desk.Found($"{day}d 06:00", $"{day}d 07:00"));
        }

        Assert.Equal(120, desk.ToldAda.Count());
        Assert.Equal(50, desk.One.Notices.Length);
        Assert.Equal((Scenario.TimeOf("06:00"), Scenario.TimeOf("59d 07:00")), (desk.One.Notices[0].At, desk.One.Notices[^1].At));
        Assert.Equal(desk.Mails[0].Key, desk.Mails.Last(mail => mail.To.Name == "Ada").ThreadKeys[0]); // The thread keeps its root.
        Assert.Equal(50, desk.Mails[^1].ThreadKeys.Length);
    }
}
