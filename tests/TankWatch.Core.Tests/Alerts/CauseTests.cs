using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Alerts;

/// <summary>Consequences hang under their cause (ISA-18.2: suppressed by design).</summary>
public sealed class CauseTests
{
    private static readonly OuterCause Outage = new("area-1", FindingKind.AreaOutage, Priority.High, Scenario.TimeOf("06:00"));

    private static Finding Power(string raised, string? cleared = null) => Of(FindingKind.PowerFailure, "u1", Priority.Medium, raised, cleared);
    private static Finding NoStart(string raised, string? cleared = null) => Of(FindingKind.NoStart, "p1", Priority.High, raised, cleared);
    private static Finding Supply(string raised, string? cleared = null) => Of(FindingKind.LowSupply, "sump", Priority.High, raised, cleared);
    private static Finding Empty(string raised, string? cleared = null) => Of(FindingKind.RunningOut, "roof", Priority.Critical, raised, cleared);

    private static Finding Of(FindingKind kind, string device, Priority priority, string raised, string? cleared) =>
        Desk.Found(raised, cleared, kind: kind, priority: priority) with { Device = new(device) };

    private static Alert Alert(Desk desk, FindingKind kind) => Assert.Single(desk.Alerts.Alerts, a => a.Finding.Kind == kind);

    private static string[] Told(Desk desk) => [.. desk.Mails.Where(m => m.To.Name == "Ada").Select(m => $"{m.Alert.Finding.Kind} {m.Reason}")];

    [Fact]
    public void A_power_cut_explains_a_pump_that_does_not_start_and_nobody_is_told_of_that()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Power("06:00")).At("06:10").Findings("06:05", Power("06:00"), NoStart("06:10"));
        Assert.Equal((AlertState.Suppressed, Alert(desk, FindingKind.PowerFailure).Id), (Alert(desk, FindingKind.NoStart).State, Alert(desk, FindingKind.NoStart).CausedBy));
        desk.At("06:30").Findings("06:10", Power("06:00"), NoStart("06:10", "06:30"));
        Assert.Equal(AlertState.Normal, Alert(desk, FindingKind.NoStart).State);
        Assert.All(Told(desk), told => Assert.StartsWith("PowerFailure", told, StringComparison.Ordinal));
    }

    [Fact]
    public void What_is_graver_than_its_cause_is_told_under_the_causes_name()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Supply("06:00")).Obeys(new Acknowledge(new Desk().At("06:00").Findings("06:00", Supply("06:00")).One.Id, "ada", null));
        Assert.Equal(AlertState.Acknowledged, desk.One.State);
        desk.At("07:00").Findings("06:30", Supply("06:00"), Empty("07:00"));
        Assert.Equal(["LowSupply Opened", "LowSupply Graver"], Told(desk));
        var (cause, mail) = (Alert(desk, FindingKind.LowSupply), desk.Mails[^1]);
        Assert.Equal((AlertState.Unacknowledged, Priority.Critical), (cause.State, cause.Gravity)); // It is not what was acknowledged.
        Assert.Equal(FindingKind.RunningOut, Assert.Single(mail.Consequences).Kind);
        desk.At("08:00").Findings("07:30", Supply("06:00", "08:00"), Empty("07:00", "08:00"));
        Assert.Equal(["LowSupply Opened", "LowSupply Graver", "LowSupply Cleared"], Told(desk));
    }

    [Fact]
    public void A_consequence_that_came_first_is_hung_under_its_cause_and_still_ends_once()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Empty("06:00")).At("06:20").Findings("06:10", Empty("06:00"), Supply("06:20"));
        Assert.Equal(AlertState.Suppressed, Alert(desk, FindingKind.RunningOut).State);
        desk.At("07:00").Findings("06:30", Empty("06:00", "07:00"), Supply("06:20"));
        desk.At("08:00").Findings("07:30", Supply("06:20", "08:00"));
        Assert.Equal(["RunningOut Opened", "LowSupply Opened", "RunningOut Cleared", "LowSupply Cleared"], Told(desk));
    }

    [Fact]
    public void What_outlasts_its_cause_comes_into_view_after_a_grace()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Power("06:00")).At("06:10").Findings("06:05", Power("06:00"), NoStart("06:10"))
            .At("06:20").Findings("06:15", Power("06:00", "06:20"), NoStart("06:10")).At("06:29").Waits();
        Assert.Equal(AlertState.Suppressed, Alert(desk, FindingKind.NoStart).State);
        desk.At("06:30").Waits();
        Assert.Equal(AlertState.Unacknowledged, Alert(desk, FindingKind.NoStart).State);
        Assert.Equal("NoStart Opened", Told(desk)[^1]);
    }

    [Fact]
    public void A_chain_hangs_at_its_root()
    {
        var desk = new Desk().At("06:00").Findings("06:00", NoStart("06:00")).At("06:05").Findings("06:05", NoStart("06:00"), Empty("06:05"));
        var first = Alert(desk, FindingKind.NoStart).Id;
        Assert.Equal(first, Alert(desk, FindingKind.RunningOut).CausedBy);
        desk.At("06:06").Findings("06:05", NoStart("06:00"), Empty("06:05"), Power("06:00"));
        var power = Alert(desk, FindingKind.PowerFailure).Id;
        Assert.Equal([power, power], [Alert(desk, FindingKind.NoStart).CausedBy, Alert(desk, FindingKind.RunningOut).CausedBy]);
    }

    [Fact]
    public void An_outage_of_the_area_explains_the_building_but_not_its_empty_tank()
    {
        var desk = new Desk().Outside(Outage).At("06:10").Findings("06:00", Power("06:10"), Empty("06:10"));
        Assert.Equal(("area-1", AlertState.Suppressed), (Alert(desk, FindingKind.PowerFailure).CausedBy, Alert(desk, FindingKind.PowerFailure).State));
        Assert.Equal(["RunningOut Opened"], Told(desk));
        desk.Outside().At("06:20").Waits().At("06:30").Waits();
        Assert.Equal(["RunningOut Opened", "PowerFailure Opened"], Told(desk));
    }

    [Fact]
    public void A_shelved_cause_hides_nothing_graver_than_itself()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Supply("06:00"));
        desk.ShelvedUntil("12:00").At("07:00").Findings("06:30", Supply("06:00"), Empty("07:00"));
        Assert.Equal("RunningOut Opened", Told(desk)[^1]);
    }

    [Fact]
    public void A_shelved_cause_hides_nothing_graver_than_itself_through_another_that_hangs_under_it()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Power("06:00"));
        desk.ShelvedUntil("12:00").At("06:10").Findings("06:05", Power("06:00"), Of(FindingKind.NoStart, "p1", Priority.Medium, "06:10", null));
        Assert.Equal(AlertState.Suppressed, Alert(desk, FindingKind.NoStart).State);
        desk.At("07:00").Findings("06:30", Power("06:00"), Of(FindingKind.NoStart, "p1", Priority.Medium, "06:10", null), Empty("07:00"));
        Assert.Equal(["PowerFailure Opened", "RunningOut Opened"], Told(desk));
    }

    [Fact]
    public void A_cause_that_is_shelved_lets_go_what_hung_under_it_and_is_graver()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Supply("06:00")).At("06:05").Findings("06:05", Supply("06:00"), NoStart("06:05"))
            .At("06:10").Findings("06:05", Supply("06:00"), NoStart("06:05"), Empty("06:10"));
        Assert.Equal(["LowSupply Opened", "LowSupply Graver"], Told(desk));
        desk.Obeys(new Shelve(Alert(desk, FindingKind.LowSupply).Id, "ada", Scenario.TimeOf("18:00"), "known")).At("07:00").Waits();
        Assert.Equal("RunningOut Opened", Told(desk)[^1]);
    }

    [Fact]
    public void A_power_cut_in_a_known_area_waits_a_minute_for_the_areas_outage_and_a_short_one_is_nobodys()
    {
        var plan = Desk.Plan with { Area = "harbour-side" };
        var desk = new Desk().With(plan).At("06:00").Findings("06:00", Power("06:00"));
        Assert.Equal(Scenario.TimeOf("06:01"), desk.One.TimerAt);
        desk.At(Scenario.TimeOf("06:00").AddSeconds(50)).Findings("06:00", Power("06:00", "06:00"));
        Assert.Empty(desk.Mails);
        Assert.Equal(AlertState.Normal, desk.One.State);
        desk.At("06:10").Findings("06:10", Power("06:10")).At("06:11").Waits();
        Assert.Equal(["PowerFailure Opened"], Told(desk));
        Assert.Equal(["PowerFailure Opened"], Told(new Desk().At("06:00").Findings("06:00", Power("06:00"))));
    }

    [Fact]
    public void What_comes_while_its_device_is_out_of_service_is_out_of_service_too()
    {
        var desk = new Desk().At("06:00").Findings("06:00", Desk.Found("06:00"), Desk.Found("06:00", kind: FindingKind.NoStart, priority: Priority.High));
        desk.Obeys(new TakeOutOfService(desk.Alerts.Alerts[0].Id, "ada", "new bearings"));
        desk.At("06:10").Findings("06:05", Desk.Found("06:00"), Desk.Found("06:00", kind: FindingKind.NoStart, priority: Priority.High), Desk.Found("06:10", kind: FindingKind.WeakPump, priority: Priority.Medium));
        Assert.All(desk.Alerts.Alerts, a => Assert.Equal(AlertState.OutOfService, a.State));
        Assert.DoesNotContain(Told(desk), told => told.StartsWith("WeakPump", StringComparison.Ordinal));
        desk.At("07:00").Obeys(new ReturnToService(desk.Alerts.Alerts[2].Id, "ada"));
        Assert.All(desk.Alerts.Alerts, a => Assert.Equal(AlertState.Unacknowledged, a.State));
        Assert.Contains("WeakPump Opened", Told(desk));
    }
}
