using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using TankWatch.Core.Tests.Alerts;
using Xunit;

namespace TankWatch.Core.Tests.Notifications;

/// <summary>Who hears, and when.</summary>
public sealed class EscalationTests
{
    private static SitePlan People(string care = "", string more = "", string zone = "Etc/UTC") => Plans.House(zone: zone, site: $$"""
        , "contacts": [
          { "name": "Owner", "email": "owner@example.org", "role": "owner" }, { "name": "Fitter", "email": "fitter@example.org", "role": "installer" },
          { "name": "Care", "email": "care@example.org", "role": "caretaker"{{care}} } ]{{more}}
        """);

    private static Desk Raised(SitePlan plan, Priority priority = Priority.Critical, string at = "06:00") =>
        new Desk().With(plan).At(at).Findings(at, Desk.Found(at, priority: priority));

    private static string[] Names(Desk desk) => [.. desk.Mails.Select(m => $"{m.To.Name} {m.Reason}")];

    [Fact]
    public void The_caretaker_hears_first_then_the_installer_then_the_rest()
    {
        var desk = Raised(People());
        Assert.Equal(["Care Opened"], Names(desk));
        desk.At("06:14").Waits();
        Assert.Single(desk.Mails);
        desk.At("06:15").Waits().At("06:29").Waits();
        Assert.Equal(["Care Opened", "Fitter Escalated"], Names(desk));
        desk.At("06:30").Waits().At("1d 06:30").Waits();
        Assert.Equal(["Care Opened", "Fitter Escalated", "Owner Escalated"], Names(desk));
        desk.At("1d 07:00").Findings("06:00", Desk.Found("06:00", "1d 07:00"));
        Assert.Equal(["Care Cleared", "Fitter Cleared", "Owner Cleared"], Names(desk)[3..]); // Whoever heard that it began.
    }

    [Fact]
    public void An_acknowledgement_stops_it()
    {
        var desk = Raised(People()).At("06:10");
        desk.Obeys(new Acknowledge(desk.One.Id, "care", null)).At("12:00").Waits();
        Assert.Equal(["Care Opened"], Names(desk));
    }

    [Fact]
    public void An_ending_stops_it()
    {
        var desk = Raised(People()).At("06:10").Findings("06:05", Desk.Found("06:00", "06:10")).At("12:00").Waits();
        Assert.Equal(["Care Opened", "Care Cleared"], Names(desk));
    }

    [Theory]
    [InlineData(Priority.Critical, 15)]
    [InlineData(Priority.High, 60)]
    [InlineData(Priority.Medium, 240)]
    public void Each_priority_has_its_patience(Priority priority, int minutes) =>
        Assert.Equal(Scenario.TimeOf("06:00").AddMinutes(minutes), Raised(People(), priority).One.TimerAt);

    [Fact]
    public void The_site_says_who_and_how_long()
    {
        var plan = People(more: """, "escalation": { "order": ["owner", "caretaker"], "minutes": { "critical": 5 } }""");
        var desk = Raised(plan).At("06:05").Waits().At("06:10").Waits();
        Assert.Equal(["Owner Opened", "Care Escalated", "Fitter Escalated"], Names(desk));
        Assert.Null(Raised(plan, Priority.High).One.TimerAt);
    }

    [Fact]
    public void A_clock_that_is_set_moves_what_waits_and_a_restart_forgets_nothing()
    {
        foreach (var by in new[] { TimeSpan.FromHours(1), TimeSpan.FromHours(-1), TimeSpan.FromDays(1), TimeSpan.FromDays(-1) })
        {
            var desk = Raised(People()).At("06:05").ClockSet(by);
            desk.Restart();
            desk.At(Scenario.TimeOf("06:14").AddSeconds(59) + by).Waits();
            Assert.Single(desk.Mails);
            desk.At(Scenario.TimeOf("06:15") + by).Waits();
            Assert.Equal(["Care Opened", "Fitter Escalated"], Names(desk));
        }
    }

    /// <summary>CHECKS H2 [V: tz database]: London's clocks are set on at 01:00Z on 2026-03-29 and back at 01:00Z on 2026-10-25. Patience is of the clock that only counts.</summary>
    [Theory]
    [InlineData("2026-03-29T00:50:00Z")]
    [InlineData("2026-10-25T00:50:00Z")]
    public void An_hour_of_patience_is_an_hour_when_summer_time_begins_or_ends(string raised)
    {
        var at = DateTimeOffset.Parse(raised, System.Globalization.CultureInfo.InvariantCulture);
        var found = Desk.Found("06:00", priority: Priority.High) with { Since = at, RaisedAt = at };
        var desk = new Desk().With(People(zone: "Europe/London")).At(at).Tell([new(FindingScope.Water, at, [found])], caughtUp: true);
        desk.At(at.AddMinutes(60).AddSeconds(-1)).Waits();
        Assert.Equal(["Care Opened"], Names(desk));
        desk.At(at.AddMinutes(60)).Waits();
        Assert.Equal(["Care Opened", "Fitter Escalated"], Names(desk));
    }

    [Fact]
    public void Quiet_hours_hold_back_what_can_wait_and_the_patience_begins_when_they_end()
    {
        var plan = People(care: """, "quietHours": "22:00-07:00" """, zone: "Asia/Kolkata");
        var desk = Raised(plan, Priority.High, at: "18:00"); // 23:30 in Kolkata; 07:00 there is 01:30 of the next day in UTC.
        Assert.Equal(Scenario.TimeOf("1d 01:30"), Assert.Single(desk.Mails).NotBefore);
        Assert.Equal(Scenario.TimeOf("1d 02:30"), desk.One.TimerAt);
        Assert.Null(Assert.Single(Raised(plan, Priority.Critical, at: "18:00").Mails).NotBefore);
    }

    [Fact]
    public void What_a_person_does_not_want_is_kept_from_them_unless_it_is_critical()
    {
        var plan = People(care: """, "kinds": { "overflow-risk": "never" }, "fromPriority": "critical" """);
        Assert.Equal(["Fitter Opened"], Names(Raised(plan, Priority.High)));
        Assert.Equal(["Care Opened"], Names(Raised(plan)));
        var alert = Raised(plan, Priority.High).One;
        Assert.Equal(NotifyReason.NotWanted, DutyRoster.WhyNot(alert, plan.Contacts[2]));
        Assert.Equal(NotifyReason.InDigest, DutyRoster.WhyNot(alert, plan.Contacts[2] with { Kinds = plan.Contacts[2].Kinds.Clear() }));
        Assert.Equal(NotifyReason.NotWanted, DutyRoster.WhyNot(alert, plan.Contacts[0] with { Declined = true }));
    }

    [Fact]
    public void A_role_of_which_nobody_wants_to_hear_is_passed_over_and_not_waited_for()
    {
        var plan = People();
        var declined = plan with { Contacts = [.. plan.Contacts.Select(contact => contact with { Declined = contact.Role is "caretaker" or "owner" })] };
        var desk = Raised(declined, Priority.High);
        Assert.Equal(["Fitter Opened"], Names(desk));
        Assert.Equal(1, desk.One.Step);
        Assert.Equal(["Care Opened"], Names(Raised(declined)));
        Assert.Equal(["Fitter Opened"], Names(Raised(People(care: """, "kinds": { "overflow-risk": "never" } """), Priority.High)));
        Assert.Empty(Raised(People(care: """, "kinds": { "overflow-risk": "digest" } """), Priority.High).Mails); // Hears of it, later.
    }

    [Fact]
    public void What_comes_off_the_shelf_is_told_again_and_escalates_anew()
    {
        var desk = Raised(People());
        desk.ShelvedUntil("09:00").At("09:00").Waits().At("09:15").Waits();
        Assert.Equal(["Care Opened", "Care StillHolds", "Fitter Escalated"], Names(desk));
    }

    [Fact]
    public void One_person_in_two_roles_is_asked_once()
    {
        var plan = Plans.House(site: """
            , "contacts": [ { "name": "A", "email": "a@example.org", "role": "caretaker" }, { "name": "B", "email": "A@example.org", "role": "installer" } ]
            """);
        Assert.Equal(["A Opened"], Names(Raised(plan).At("12:00").Waits()));
    }
}
