using System.Net;
using System.Text.Json;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Areas;
using TankWatch.Core.Notifications;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>How much people were told and how often it was right, of alerts that real messages raised.</summary>
public sealed class LoadTests(Served service) : IClassFixture<Served>
{
    private const string Caretaker = "caretaker@example.org";

    [Fact]
    public async Task What_people_were_told_is_counted_once_for_the_site_and_once_for_each_person()
    {
        var (site, _) = await ToldAsync();
        var load = await service.GetJsonAsync($"/api/v1/alerts/load?site={site.Id}");
        Assert.Equal((2, "quiet", 1), (load.GetProperty("alerts").GetInt32(), Text(load, "verdict"), load.GetProperty("people").GetArrayLength()));
        Assert.Equal((site.Id, JsonValueKind.Null), (Text(load, "site"), load.GetProperty("person").ValueKind));
        Assert.Equal((Caretaker, "Caretaker", 2), (Text(load.GetProperty("people")[0], "id"), Text(load.GetProperty("people")[0], "name"), load.GetProperty("people")[0].GetProperty("alerts").GetInt32()));
        Assert.Equal([("roof", "probe-fault", 0.5), ("sump", "probe-fault", 0.5)], load.GetProperty("worst").EnumerateArray()
            .Select(source => (Text(source, "device"), Text(source, "kind"), source.GetProperty("share").GetDouble())));
        Assert.Equal((150, 300), (load.GetProperty("perDay").GetProperty("acceptable").GetDouble(), load.GetProperty("perDay").GetProperty("manageable").GetDouble()));
        Assert.Equal(1, load.GetProperty("priorities").GetProperty("medium").GetDouble());

        var mine = await service.GetJsonAsync($"/api/v1/alerts/load?site={site.Id}&person={Caretaker.ToUpperInvariant()}");
        Assert.Equal(2, mine.GetProperty("alerts").GetInt32());
        var nobodys = await service.GetJsonAsync($"/api/v1/alerts/load?site={site.Id}&person=nobody%40example.org");
        Assert.Equal((0, "silent"), (nobodys.GetProperty("alerts").GetInt32(), Text(nobodys, "verdict")));
    }

    [Fact]
    public async Task What_is_of_no_one_site_counts_and_stands_with_no_site()
    {
        var (site, _) = await ToldAsync();
        var now = TimeProvider.System.GetUtcNow();
        var finding = Assert.Single(AreaWatch.Judge(AreaState.Start, [.. Enumerable.Range(0, 2).Select(i => new SiteSign(new($"a-{i}"), "A", "old-town", now.AddMinutes(-9), true))], now).Findings);
        var outage = StoredJsonTests.SampleAlert("area-of-load") with { Site = SiteId.None, Finding = finding };
        service.Store.Write(connection => LedgerStore.Append(
            connection, [outage], [new AlertRaised(outage.Id, now.AddMinutes(-2), outage.Site, finding), new AlertNotified(outage.Id, now.AddMinutes(-1), NotifyReason.Opened)]));
        var load = await service.GetJsonAsync("/api/v1/alerts/load");
        Assert.Contains("area-outage", load.GetProperty("worst").EnumerateArray().Select(source => Text(source, "kind")));
        Assert.Contains(site.Id, load.GetProperty("sites").EnumerateArray().Select(one => Text(one, "id")));
        Assert.DoesNotContain("", load.GetProperty("sites").EnumerateArray().Select(one => Text(one, "id")));
    }

    [Fact]
    public async Task Only_the_time_asked_for_is_counted()
    {
        var (site, _) = await ToldAsync();
        var before = await service.GetJsonAsync($"/api/v1/alerts/load?site={site.Id}&from=2026-01-01T00:00:00Z&to=2026-01-31T00:00:00Z");
        Assert.Equal((0, 0.0), (before.GetProperty("alerts").GetInt32(), before.GetProperty("perDay").GetProperty("value").GetDouble()));
        Assert.Equal("2026-01-01T00:00:00.000Z", Text(before, "from"));
        var usual = await service.GetJsonAsync($"/api/v1/alerts/load?site={site.Id}");
        Assert.InRange(usual.GetProperty("to").GetDateTimeOffset() - usual.GetProperty("from").GetDateTimeOffset(), TimeSpan.FromDays(1), TimeSpan.FromDays(2)); // No longer than anything is known.
    }

    [Theory]
    [InlineData("from=2026-02-01T00:00:00Z&to=2026-01-01T00:00:00Z", HttpStatusCode.BadRequest)]
    [InlineData("from=yesterday", HttpStatusCode.BadRequest)]
    [InlineData("to=tomorrow", HttpStatusCode.BadRequest)]
    [InlineData("to=0001-01-01T00:00:00Z", HttpStatusCode.BadRequest)]
    [InlineData("site=nowhere", HttpStatusCode.NotFound)]
    public async Task What_cannot_be_answered_is_refused(string query, HttpStatusCode status) =>
        (await service.GetAsync($"/api/v1/alerts/load?{query}")).IsProblem(status);

    [Fact]
    public async Task Another_tenants_load_and_record_are_not_seen()
    {
        var (site, ids) = await ToldAsync();
        await CloseAsync(ids["roof"], """{"causeFound":"probe-fault"}""");
        var key = service.AddKey($"load-{site.Id}", (await service.AddSiteAsync()).Id);
        (await service.GetAsync($"/api/v1/alerts/load?site={site.Id}", key)).IsProblem(HttpStatusCode.NotFound);
        (await service.GetAsync($"/api/v1/alerts/record?site={site.Id}", key)).IsProblem(HttpStatusCode.NotFound);
        Assert.Equal(0, (await service.GetJsonAsync("/api/v1/alerts/load", key)).GetProperty("alerts").GetInt32());
        Assert.Equal(0, (await service.GetJsonAsync("/api/v1/alerts/record", key)).GetProperty("total").GetProperty("closed").GetInt32());
    }

    [Fact]
    public async Task Closing_with_a_name_that_counts_feeds_the_record_and_words_alone_are_told_apart()
    {
        var (site, ids) = await ToldAsync();
        await CloseAsync(ids["sump"], """{"causeFound":"nothing-wrong","note":"the meter was read"}""");
        await CloseAsync(ids["roof"], """{"causeFound":"impossible-order"}""");
        var record = await service.GetJsonAsync($"/api/v1/alerts/record?site={site.Id}");
        var kinds = record.GetProperty("kinds").EnumerateArray().ToDictionary(kind => Text(kind, "kind")!);
        Assert.Equal((2, 1, 1), Counts(kinds["probe-fault"]));
        Assert.Equal((0, 0, 0), Counts(kinds["leak"]));
        Assert.Equal(0.5, kinds["probe-fault"].GetProperty("brier").GetDouble()); // Twice said with 1, and once so.
        Assert.Equal(0.5, kinds["probe-fault"].GetProperty("sureCauses").GetProperty("value").GetDouble());
        Assert.Equal(0.5, record.GetProperty("total").GetProperty("shareRight").GetProperty("value").GetDouble());
        Assert.Contains("nothing-wrong", record.GetProperty("causes").EnumerateArray().Select(name => name.GetString()));
        Assert.Equal(["leak", "growing-leak"], kinds["leak"].GetProperty("rightWith").EnumerateArray().Select(name => name.GetString()));
        Assert.Equal(JsonValueKind.Null, kinds["leak"].GetProperty("shareRight").ValueKind);

        var closing = (await service.GetJsonAsync($"/api/v1/alerts/{ids["sump"]}/events")).GetProperty("items").EnumerateArray()
            .Single(happened => Text(happened, "type") == "closed");
        Assert.Equal(("the meter was read", "nothing-wrong"), (Text(closing, "note"), Text(closing, "causeFound")));
    }

    [Fact]
    public async Task A_note_beside_the_cause_is_checked_as_any_other()
    {
        var (_, ids) = await ToldAsync();
        (await service.SendAsync("POST", $"/api/v1/alerts/{ids["roof"]}/close", service.Key, """{"causeFound":"leak","note":"  "}""")).IsProblem(HttpStatusCode.BadRequest);
    }

    /// <summary>A site with two alerts of which its caretaker was told, by device.</summary>
    private async Task<(LiveSite Site, Dictionary<string, string> Ids)> ToldAsync()
    {
        var site = await service.AddSiteAsync();
        await site.PublishAsync(
            ("level", SampleSite.Level(LiveSite.Ago(6), "roof", "101", 1)), ("level", SampleSite.Level(LiveSite.Ago(5), "sump", "101", 2)),
            ("supply", SampleSite.Supply(LiveSite.Ago(1), true, 3)));
        var alerts = await Eventually.Comes(
            () => site.AlertsAsync(2), alerts => alerts.All(alert => alert.GetProperty("notifiedAt").ValueKind == JsonValueKind.String), "the notices", TimeSpan.FromSeconds(40));
        return (site, alerts.ToDictionary(alert => Text(alert, "device")!, alert => Text(alert, "id")!));
    }

    private async Task CloseAsync(string id, string body) =>
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("POST", $"/api/v1/alerts/{id}/close", service.Key, body)).Status);

    private static (int Closed, int Right, int Wrong) Counts(JsonElement kind) =>
        (kind.GetProperty("closed").GetInt32(), kind.GetProperty("right").GetInt32(), kind.GetProperty("wrong").GetInt32());

    private static string? Text(JsonElement json, string member) => json.GetProperty(member).GetString();
}
