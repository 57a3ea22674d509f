using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

/// <summary>A unit that is silent, this service that is cut off, and an area without power: each is told to whom it concerns, and to nobody else.</summary>
public sealed class ThreeSilencesTests
{
    private const int Houses = 5000;

    private static IReadOnlyList<Alert> All(Rig rig) => rig.Ledger.ListAlerts(new(null, null, null, null, null), null, 20_000);

    private static IReadOnlyList<OutboxEntry> Letters(Rig rig) => rig.Ledger.ListOutbox(null, 20_000);

    private static string InArea(string id, string unit, string area = "harbour-side") => SampleSite.Json(
        id, unit, $"House {id}", $$"""[ { "name": "Care", "email": "care-{{id}}@example.org" }, { "name": "Fitter", "email": "fitter@example.org", "role": "installer" } ], "area": "{{area}}" """);

    private static async Task<Rig> TownAsync(int houses, Func<int, string> site)
    {
        var rig = Rig.New();
        for (var i = 0; i < houses; i++)
        {
            Assert.Null(rig.Put(site(i)));
        }

        await rig.StartAsync();
        return rig;
    }

    /// <summary>Every unit says that it lives.</summary>
    private static async Task SpeakAsync(Rig rig, int houses, long seq)
    {
        var at = rig.Time.GetUtcNow();
        for (var i = 0; i < houses; i++)
        {
            await rig.Inbox.TakeInAsync(new($"tankwatch/v1/u{i}/supply", System.Text.Encoding.UTF8.GetBytes(SampleSite.Supply(at, true, seq)), false, at), null, TestContext.Current.CancellationToken);
        }

        await rig.SettleAsync();
    }

    [Fact]
    public async Task A_restart_with_5000_live_units_calls_none_of_them_silent()
    {
        await using var rig = await TownAsync(Houses, i => SampleSite.Json($"h{i}", $"u{i}"));
        await SpeakAsync(rig, Houses, 1);
        await rig.PassAsync(TimeSpan.FromMinutes(80), TimeSpan.FromMinutes(10));
        await rig.StopAsync();
        rig.Clock.Advance(TimeSpan.FromMinutes(30)); // Their last word is now 110 minutes old.
        await using var again = rig.Again();
        await again.StartAsync();
        await again.PassAsync(TimeSpan.FromMinutes(30), TimeSpan.FromMinutes(5));
        await SpeakAsync(again, Houses, 2);
        await again.PassAsync(TimeSpan.FromMinutes(80), TimeSpan.FromMinutes(10));
        Assert.Empty(All(again));
        await again.PassAsync(TimeSpan.FromMinutes(20), TimeSpan.FromMinutes(5)); // And who says nothing from then on is silent.
        Assert.Equal(Houses, All(again).Count(alert => alert.Finding.Kind == FindingKind.UnitSilent));
    }

    [Fact]
    public async Task A_broker_that_is_down_for_an_hour_is_one_alert_for_the_operator_and_none_for_a_customer()
    {
        await using var rig = await TownAsync(Houses, i => InArea($"h{i}", $"u{i}", $"area-{i % 50}"));
        await SpeakAsync(rig, Houses, 1);
        await rig.PassAsync(TimeSpan.FromMinutes(50), TimeSpan.FromMinutes(10));
        rig.Inbox.StopListening();
        rig.Ready.Set(Stage.Broker, "connection refused");
        await rig.PassAsync(TimeSpan.FromMinutes(60), TimeSpan.FromMinutes(1));
        var alert = Assert.Single(All(rig));
        Assert.Equal((FindingKind.ServiceFault, "broker", AlertState.Unacknowledged), (alert.Finding.Kind, alert.Finding.Device.Value, alert.State));
        Assert.True(alert.Site.IsNone);
        var told = Assert.Single(Letters(rig)).Letter.Notification;
        Assert.Equal((NotifyReason.Opened, "operator@water.example"), (told.Reason, told.To.Email));

        // It is back, with what the units kept of the hour.
        rig.Inbox.Listen(rig.Time.GetUtcNow());
        rig.Ready.Set(Stage.Broker, null);
        await SpeakAsync(rig, Houses, 2);
        await rig.PassAsync(TimeSpan.FromMinutes(80), TimeSpan.FromMinutes(5));
        Assert.Equal(AlertState.ReturnedUnacknowledged, Assert.Single(All(rig)).State);
        Assert.Equal([NotifyReason.Cleared, NotifyReason.Opened], Letters(rig).Select(letter => letter.Letter.Notification.Reason));
    }

    [Fact]
    public async Task A_device_of_a_key_of_one_site_is_told_of_an_areas_outage_if_its_site_is_in_it()
    {
        await using var rig = await TownAsync(4, i => InArea($"h{i}", $"u{i}"));
        foreach (var site in (string[])["h0", "h3"])
        {
            rig.Ledger.PutSubscriber(new($"https://push.example.org/{site}", "", "", $"care-{site}@example.org", "phone", "key", new SiteId(site)));
        }

        for (var i = 0; i < 3; i++)
        {
            await rig.SendAsync("supply", SampleSite.Supply(rig.Time.GetUtcNow(), mains: false, 1), $"u{i}");
        }

        await rig.PassAsync(TimeSpan.FromMinutes(4), TimeSpan.FromSeconds(5));
        var pushes = rig.Ledger.ListDuePushes(rig.Time.GetUtcNow(), 10);
        Assert.All(pushes, push => Assert.Equal(FindingKind.AreaOutage, push.Entry.Letter.Notification.Alert.Finding.Kind));
        Assert.Equal(["care-h0@example.org 1", "care-h3@example.org 0"], pushes.Select(push => $"{push.Entry.Letter.To.Email} {push.Browsers.Count}").Order());
    }

    [Fact]
    public async Task An_area_without_power_is_one_alert_with_its_buildings_under_it_and_each_person_hears_once()
    {
        await using var rig = await TownAsync(4, i => InArea($"h{i}", $"u{i}"));
        for (var i = 0; i < 3; i++)
        {
            await rig.SendAsync("supply", SampleSite.Supply(rig.Time.GetUtcNow(), mains: false, 1), $"u{i}");
            await rig.PassAsync(TimeSpan.FromSeconds(10), TimeSpan.FromSeconds(1));
        }

        await rig.PassAsync(TimeSpan.FromMinutes(4), TimeSpan.FromSeconds(5));
        var outage = Assert.Single(All(rig), alert => alert.Finding.Kind == FindingKind.AreaOutage);
        Assert.Equal("harbour-side", outage.Finding.Device.Value);
        Assert.Equal(["h0", "h1", "h2"], rig.Ledger.ListConsequences(outage.Id).Select(alert => alert.Site.Value).Order());
        Assert.All(rig.Ledger.ListConsequences(outage.Id), alert => Assert.Equal((AlertState.Suppressed, FindingKind.PowerFailure), (alert.State, alert.Finding.Kind)));
        Assert.Equal(
            ["care-h0@example.org", "care-h1@example.org", "care-h2@example.org", "care-h3@example.org"], Letters(rig).Select(letter => letter.Letter.Notification.To.Email).Order());
        Assert.All(Letters(rig), letter => Assert.Equal(outage.Id, letter.Letter.Notification.Alert.Id));

        // A restart changes nothing of it.
        await rig.StopAsync();
        await using var again = rig.Again();
        await again.StartAsync();
        await again.PassAsync(TimeSpan.FromMinutes(5), TimeSpan.FromSeconds(30));
        Assert.Equal((4, 4), (All(again).Count, Letters(again).Count));

        for (var i = 0; i < 3; i++)
        {
            await again.SendAsync("supply", SampleSite.Supply(again.Time.GetUtcNow(), mains: true, 2), $"u{i}");
        }

        await again.PassAsync(TimeSpan.FromMinutes(6), TimeSpan.FromSeconds(30));
        Assert.All(All(again).Where(alert => alert.Id != outage.Id), alert => Assert.Equal(AlertState.Normal, alert.State));
        Assert.Equal(AlertState.ReturnedUnacknowledged, again.Ledger.FindAlert(outage.Id)!.State);
        Assert.Equal(8, Letters(again).Count); // To each that it is over.
        var acknowledged = Assert.IsType<CommandOutcome.Done>(await again.Directory.TellAsync(new Acknowledge(outage.Id, "care", null), TestContext.Current.CancellationToken));
        Assert.Equal(AlertState.Normal, acknowledged.Alert.State);
        Assert.Empty(again.Directory.Estate);
    }

    [Fact]
    public async Task While_this_service_is_cut_off_an_outage_of_an_area_is_neither_over_nor_withdrawn()
    {
        await using var rig = await TownAsync(3, i => InArea($"h{i}", $"u{i}"));
        for (var i = 0; i < 3; i++)
        {
            await rig.SendAsync("supply", SampleSite.Supply(rig.Time.GetUtcNow(), mains: false, 1), $"u{i}");
        }

        await rig.PassAsync(TimeSpan.FromMinutes(4), TimeSpan.FromSeconds(5));
        var outage = Assert.Single(All(rig), alert => alert.Finding.Kind == FindingKind.AreaOutage);
        var told = Letters(rig).Count;
        rig.Inbox.StopListening();
        await rig.PassAsync(TimeSpan.FromMinutes(5), TimeSpan.FromSeconds(20));
        Assert.Equal((AlertState.Unacknowledged, null), (rig.Ledger.FindAlert(outage.Id)!.State, rig.Ledger.FindAlert(outage.Id)!.Correction));
        rig.Inbox.Listen(rig.Time.GetUtcNow());
        await rig.PassAsync(TimeSpan.FromMinutes(5), TimeSpan.FromSeconds(20));
        Assert.Equal(AlertState.Unacknowledged, rig.Ledger.FindAlert(outage.Id)!.State);
        Assert.Equal(told, Letters(rig).Count(letter => letter.Letter.Notification.Alert.Id == outage.Id));
    }

    [Fact]
    public async Task A_unit_alone_that_is_silent_is_its_buildings_own_alert()
    {
        await using var rig = await TownAsync(4, i => InArea($"h{i}", $"u{i}"));
        await SpeakAsync(rig, 4, 1);
        await rig.SendAsync("status", """{"online":false,"boot":1}""", "u2");
        await rig.PassAsync(TimeSpan.FromMinutes(14), TimeSpan.FromSeconds(20));
        var alert = Assert.Single(All(rig));
        Assert.Equal((FindingKind.UnitSilent, new SiteId("h2")), (alert.Finding.Kind, alert.Site));
        Assert.Equal("care-h2@example.org", Assert.Single(Letters(rig)).Letter.Notification.To.Email);
    }
}
