using System.Net;
using System.Text.Json;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Areas;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>Alerts that real messages raised, and what people do about them.</summary>
public sealed class AlertTests(Served service) : IClassFixture<Served>
{
    [Fact]
    public async Task Messages_of_a_power_cut_and_of_an_impossible_probe_order_are_an_alert_each()
    {
        var site = await service.AddSiteAsync();
        await site.RaiseAsync(probesToo: true);
        var alerts = await site.AlertsAsync(2);
        Assert.Equal([("power-failure", site.Unit), ("probe-fault", "roof")], alerts.Select(alert => (Text(alert, "kind"), Text(alert, "device"))).Order());
        Assert.All(alerts, alert => Assert.Equal(("unacknowledged", "medium", site.Id), (Text(alert, "state"), Text(alert, "priority"), Text(alert, "site"))));
        Assert.All(alerts, alert => Assert.Equal(JsonValueKind.Null, alert.GetProperty("clearedAt").ValueKind));
        Assert.All(alerts, alert => Assert.InRange((alert.GetProperty("raisedAt").GetDateTimeOffset() - alert.GetProperty("since").GetDateTimeOffset()).TotalSeconds, 60, 121)); // A minute, and then the next look.
        Assert.True(string.CompareOrdinal(Text(alerts[0], "id"), Text(alerts[1], "id")) > 0, "newest first, ids ascending by creation");
        Assert.True(JsonElement.DeepEquals(alerts[1], await service.GetJsonAsync($"/api/v1/alerts/{Text(alerts[1], "id")}")));
    }

    [Fact]
    public async Task The_list_is_filtered_by_site_state_kind_and_time()
    {
        var site = await service.AddSiteAsync();
        await site.RaiseAsync(probesToo: true);
        var id = await FilteredAsync("kind=probe-fault") is [{ } only] ? only : throw new InvalidOperationException("no probe fault");
        await DoneAsync(id, "close", """{"causeFound":"crossed leads"}""");
        Assert.Equal([id], await FilteredAsync("state=normal"));
        Assert.Equal(await FilteredAsync("kind=power-failure"), await FilteredAsync("state=open"));
        Assert.Equal(await FilteredAsync("kind=power-failure"), await FilteredAsync("state=unacknowledged"));
        Assert.Empty(await FilteredAsync("state=shelved"));
        Assert.Empty(await FilteredAsync("to=2020-01-01T00:00:00Z"));
        Assert.Empty(await FilteredAsync("from=2999-01-01T00:00:00%2B02:00"));
        Assert.Equal(2, (await FilteredAsync("from=2020-01-01T00:00:00Z&to=2999-01-01T00:00:00Z")).Count);

        async Task<List<string>> FilteredAsync(string filter) =>
            [.. (await service.GetJsonAsync($"/api/v1/alerts?site={site.Id}&{filter}")).GetProperty("items").EnumerateArray().Select(alert => Text(alert, "id")!)];
    }

    [Fact]
    public async Task An_alert_is_acknowledged_with_a_note_by_the_keys_name()
    {
        var id = await RaisedAsync();
        var done = await DoneAsync(id, "acknowledge", """{"note":"on my way"}""");
        Assert.Equal(("acknowledged", "all-sites"), (Text(done, "state"), Text(done, "acknowledgedBy")));
        Assert.Equal(JsonValueKind.String, done.GetProperty("acknowledgedAt").ValueKind);
        Assert.Equal("acknowledged", Text(await service.GetJsonAsync($"/api/v1/alerts/{id}"), "state"));
        var events = (await service.GetJsonAsync($"/api/v1/alerts/{id}/events")).GetProperty("items");
        Assert.Contains(events.EnumerateArray(), e => (Text(e, "type"), Text(e, "by"), Text(e, "note")) == ("acknowledged", "all-sites", "on my way"));
        Assert.Equal("raised", Text(events[events.GetArrayLength() - 1], "type"));
    }

    [Theory]
    [InlineData(null)]
    [InlineData("{}")]
    [InlineData("""{"note":null}""")]
    public async Task An_acknowledgement_needs_no_note(string? body) =>
        Assert.Equal("acknowledged", Text(await DoneAsync(await RaisedAsync(), "acknowledge", body), "state"));

    [Fact]
    public async Task An_alert_is_shelved_until_a_time_for_a_reason_and_taken_off_the_shelf()
    {
        var id = await RaisedAsync();
        var shelved = await DoneAsync(id, "shelve", """{"until":"2999-01-01T02:00:00+02:00","reason":"the grid is being rebuilt"}""");
        Assert.Equal(("shelved", "2999-01-01T00:00:00.000Z"), (Text(shelved, "state"), Text(shelved, "shelvedUntil")));
        Assert.Equal("unacknowledged", Text(await DoneAsync(id, "unshelve"), "state"));
        (await DoAsync(id, "unshelve")).IsProblem(HttpStatusCode.Conflict);
    }

    [Theory]
    [InlineData("{}")]
    [InlineData("""{"until":"2999-01-01T00:00:00Z"}""")]
    [InlineData("""{"reason":"because"}""")]
    [InlineData("""{"until":"2999-01-01T00:00:00Z","reason":"  "}""")]
    [InlineData("""{"until":"2999-01-01T00:00:00Z","reason":null}""")]
    [InlineData("""{"until":"tomorrow","reason":"because"}""")]
    [InlineData("""{"until":7,"reason":"because"}""")]
    [InlineData("""{"until":"2999-01-01T00:00:00Z","reason":"because","note":"unknown member"}""")]
    [InlineData("[]")]
    [InlineData("{")]
    [InlineData("null")]
    public async Task Shelving_without_a_time_and_a_reason_is_refused(string body)
    {
        var id = await RaisedAsync();
        (await DoAsync(id, "shelve", body)).IsProblem(HttpStatusCode.BadRequest);
        Assert.Equal("unacknowledged", Text(await service.GetJsonAsync($"/api/v1/alerts/{id}"), "state"));
    }

    [Fact]
    public async Task An_alert_of_many_buildings_is_acknowledged_by_a_key_of_one_of_them_and_put_aside_by_none()
    {
        var now = TimeProvider.System.GetUtcNow();
        var site = await service.AddSiteAsync();
        var key = service.AddKey("of-this-one", site.Id);
        var finding = Assert.Single(AreaWatch.Judge(AreaState.Start, [.. Enumerable.Range(0, 2).Select(i => new SiteSign(new($"a-{i}"), "A", "old-town", now.AddMinutes(-9), true))], now).Findings);
        var outage = StoredJsonTests.SampleAlert("area-1") with { Site = SiteId.None, Finding = finding, State = AlertState.Unacknowledged, ShelvedUntil = null, CausedBy = null };
        var hung = StoredJsonTests.SampleAlert("hung-1") with { Site = new(site.Id), CausedBy = outage.Id };
        service.Store.Write(connection => LedgerStore.Append(
            connection, [outage, hung], [new AlertRaised(outage.Id, now, outage.Site, finding), new AlertRaised(hung.Id, now, hung.Site, hung.Finding)]));
        foreach (var (action, body) in new[] { ("shelve", """{"until":"2999-01-01T00:00:00Z","reason":"x"}"""), ("close", """{"causeFound":"other"}"""), ("out-of-service", "{}") })
        {
            var answer = await service.SendAsync("POST", $"/api/v1/alerts/{outage.Id}/{action}", key, body);
            answer.IsProblem(HttpStatusCode.Conflict);
            Assert.Contains("many buildings", answer.Text, StringComparison.Ordinal);
        }

        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("POST", $"/api/v1/alerts/{outage.Id}/acknowledge", key, "{}")).Status);
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("POST", $"/api/v1/alerts/{outage.Id}/shelve", service.Key, """{"until":"2999-01-01T00:00:00Z","reason":"x"}""")).Status);
    }

    [Fact]
    public async Task Shelving_until_a_time_gone_by_is_a_conflict() =>
        (await DoAsync(await RaisedAsync(), "shelve", """{"until":"2021-01-01T00:00:00Z","reason":"because"}""")).IsProblem(HttpStatusCode.Conflict);

    [Fact]
    public async Task A_device_goes_out_of_service_and_comes_back()
    {
        var id = await RaisedAsync();
        (await DoAsync(id, "return")).IsProblem(HttpStatusCode.Conflict);
        Assert.Equal("out-of-service", Text(await DoneAsync(id, "out-of-service", """{"note":"dismantled"}"""), "state"));
        Assert.Equal("unacknowledged", Text(await DoneAsync(id, "return"), "state"));
    }

    [Fact]
    public async Task An_alert_is_closed_with_the_cause_found()
    {
        var id = await RaisedAsync();
        (await DoAsync(id, "close", "{}")).IsProblem(HttpStatusCode.BadRequest);
        var closed = await DoneAsync(id, "close", """{"causeFound":"the main fuse"}""");
        Assert.Equal(("normal", "the main fuse"), (Text(closed, "state"), Text(closed, "causeFound")));
        (await DoAsync(id, "close", """{"causeFound":"again"}""")).IsProblem(HttpStatusCode.Conflict);
    }

    [Fact]
    public async Task A_note_is_kept_as_written_and_a_blank_or_endless_one_refused()
    {
        var id = await RaisedAsync();
        const string note = "Straße <b>no</b> \u202Eevil 🚰";
        await DoneAsync(id, "note", JsonSerializer.Serialize(new { note }));
        (await DoAsync(id, "note", """{"note":" "}""")).IsProblem(HttpStatusCode.BadRequest);
        foreach (var nothing in (string[])["\u200B", " \u00A0\u3000", "\u2060\uFE0F", "\t\n", "a\u0007b", "a\u0085b", "a\rb", "a\0"])
        {
            (await DoAsync(id, "note", JsonSerializer.Serialize(new { note = nothing }))).IsProblem(HttpStatusCode.BadRequest);
        }

        await DoneAsync(id, "note", """{"note":"two lines,\n\tthe second with a tab"}""");
        await DoneAsync(id, "note", JsonSerializer.Serialize(new { note }));
        (await DoAsync(id, "note", JsonSerializer.Serialize(new { note = new string('x', 2001) }))).IsProblem(HttpStatusCode.BadRequest);
        var newest = (await service.GetJsonAsync($"/api/v1/alerts/{id}/events")).GetProperty("items")[0];
        Assert.Equal(("noted", note), (Text(newest, "type"), Text(newest, "note")));
    }

    [Theory]
    [InlineData("acknowledge")]
    [InlineData("unshelve")]
    [InlineData("out-of-service")]
    [InlineData("return")]
    public async Task Nothing_can_be_done_about_an_alert_that_does_not_exist(string action) =>
        (await DoAsync("nothing", action)).IsProblem(HttpStatusCode.NotFound);

    [Fact]
    public async Task An_alert_whose_condition_ended_has_an_end()
    {
        var site = await service.AddSiteAsync();
        var id = await site.RaiseAsync();
        await site.PublishAsync(("supply", SampleSite.Supply(LiveSite.Ago(3), true, 4)), ("level", SampleSite.Level(LiveSite.Ago(0.5), "sump", "110", 5)));
        await Eventually.Comes(
            () => service.GetJsonAsync($"/api/v1/alerts/{id}"), alert => alert.GetProperty("clearedAt").ValueKind == JsonValueKind.String, "the end of the power cut");
    }

    private async Task<string> RaisedAsync() => await (await service.AddSiteAsync()).RaiseAsync();

    private Task<Answer> DoAsync(string id, string action, string? body = null) =>
        service.SendAsync("POST", $"/api/v1/alerts/{id}/{action}", service.Key, body);

    private async Task<JsonElement> DoneAsync(string id, string action, string? body = null)
    {
        var answer = await DoAsync(id, action, body);
        Assert.True(answer.Status == HttpStatusCode.OK, $"{action}: {answer}");
        Assert.Equal(id, answer.Json.GetProperty("id").GetString());
        return answer.Json;
    }

    private static string? Text(JsonElement json, string member) => json.GetProperty(member).GetString();
}
