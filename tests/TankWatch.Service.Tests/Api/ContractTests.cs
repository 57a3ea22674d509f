using System.Text.Json;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>The published names: members may be added, none may go or change its name.</summary>
public sealed class ContractTests(Served service) : IClassFixture<Served>
{
    private const string Run = "pump startedAt stoppedAt startCause stopCause deliveredLitres litresPerMinute";

    [Fact]
    public async Task An_alert_has_the_published_members()
    {
        var site = await service.AddSiteAsync();
        await site.RaiseAsync();
        var alert = (await site.AlertsAsync(1))[0];
        AssertHas("id site state kind device priority since raisedAt clearedAt estimate causes summary evidence advice cautions "
            + "notifiedAt acknowledgedAt acknowledgedBy correction", alert);
        foreach (var member in (string[])["evidence", "advice", "cautions"])
        {
            Assert.All(alert.GetProperty(member).EnumerateArray(), line => Assert.NotEqual("", line.GetString()));
            Assert.NotEqual(0, alert.GetProperty(member).GetArrayLength());
        }

        AssertUtc(alert.GetProperty("since"), alert.GetProperty("raisedAt"));
    }

    [Fact]
    public async Task What_is_known_now_has_the_published_members()
    {
        var site = await RunOnceAsync();
        var now = await site.GetAsync("now");
        AssertHas("site asOf tanks pumps units", now);
        AssertHas("tank role step wet volumeLitres ageSeconds timeToEmpty", now.GetProperty("tanks")[1]);
        AssertHas("low high", now.GetProperty("tanks")[1].GetProperty("volumeLitres"));
        AssertHas("pump running since mode cause lastRun", now.GetProperty("pumps")[0]);
        AssertHas(Run, now.GetProperty("pumps")[0].GetProperty("lastRun"));
        AssertHas("unit site heardAt newestAt online missing coverage accepted refused clockSkewSeconds", now.GetProperty("units")[0]);
        AssertUtc(now.GetProperty("asOf"), now.GetProperty("pumps")[0].GetProperty("since"));
    }

    [Fact]
    public async Task A_history_has_the_published_members()
    {
        var history = await (await RunOnceAsync()).GetAsync("history");
        AssertHas("site from to steps runs next", history);
        AssertHas("at tank step wet", history.GetProperty("steps")[0]);
        AssertHas(Run, history.GetProperty("runs")[0]);
        AssertUtc(history.GetProperty("from"), history.GetProperty("to"), history.GetProperty("steps")[0].GetProperty("at"), history.GetProperty("runs")[0].GetProperty("startedAt"));
    }

    [Theory]
    [InlineData("day", 1)]
    [InlineData("week", 7)]
    [InlineData("month", 28)]
    public async Task A_summary_has_the_published_members_and_the_period_before(string period, int days)
    {
        var summary = await (await RunOnceAsync()).GetAsync($"summary?period={period}");
        AssertHas("site period current previous", summary);
        var (current, previous) = (summary.GetProperty("current"), summary.GetProperty("previous"));
        AssertHas("from to complete pumps tanks", current);
        AssertHas("pump starts runSeconds longestRunSeconds dryTrips deliveredLitres litresPerMinute energyKwh", current.GetProperty("pumps")[0]);
        AssertHas("tank usedLitres leakLitresPerHour secondsBelowLowest", current.GetProperty("tanks")[0]);
        AssertHas("wattHoursPerCubicMetre leastWattHoursPerCubicMetre", current.GetProperty("pumps")[0]);
        AssertHas("known availability", current.GetProperty("tanks")[0]);
        AssertHas("known meanDay", current);
        AssertHas("deliveredLitres usedLitres usedLitresPerPerson leakLitresPerHour pumpHours starts", current.GetProperty("meanDay"));
        Assert.Equal(135, summary.GetProperty("standardLitresPerPerson").GetDouble()); // IS 1172:1993 (CHECKS E1 [V]).
        Assert.False(current.GetProperty("complete").GetBoolean());
        var (from, to) = (Day(current, "from"), Day(current, "to"));
        Assert.Equal(from.AddDays(-1), Day(previous, "to"));
        Assert.InRange(to.DayNumber - from.DayNumber + 1, days, days == 28 ? 31 : days);
        Assert.Empty(previous.GetProperty("pumps").EnumerateArray());
    }

    [Fact]
    public async Task A_week_is_that_of_the_calendar_and_begins_on_Monday()
    {
        var site = await service.AddSiteAsync();
        foreach (var date in (string[])["2026-03-02", "2026-03-05", "2026-03-08"])
        {
            var current = (await site.GetAsync($"summary?period=week&date={date}")).GetProperty("current");
            Assert.Equal((new DateOnly(2026, 3, 2), new DateOnly(2026, 3, 8)), (Day(current, "from"), Day(current, "to")));
        }
    }

    [Fact]
    public async Task Predictions_need_no_data_and_have_the_published_members()
    {
        var site = await service.AddSiteAsync();
        var told = await site.GetAsync("predictions");
        AssertHas("site predictions", told);
        Assert.Equal(site.Id, told.GetProperty("site").GetString());
        var spacing = told.GetProperty("predictions").EnumerateArray().Single(p => p.GetProperty("kind").GetString() == "probe-spacing" && p.GetProperty("tank").GetString() == "roof");
        AssertHas("kind pump tank expected verdict text cautions", spacing);
        AssertHas("value low high unit", spacing.GetProperty("expected"));
        Assert.Equal((JsonValueKind.Null, "fine", "L"), (spacing.GetProperty("pump").ValueKind, spacing.GetProperty("verdict").GetString(), spacing.GetProperty("expected").GetProperty("unit").GetString()));
        Assert.Equal([150.0, 225, 300], ((string[])["low", "value", "high"]).Select(end => spacing.GetProperty("expected").GetProperty(end).GetDouble())); // Of 6 000 litres.
    }

    [Fact]
    public async Task A_refused_message_has_the_published_members()
    {
        var site = await service.AddSiteAsync();
        await site.PublishAsync(("level", "{}"));
        var list = await service.GetJsonAsync($"/api/v1/units/{site.Unit}/refused");
        AssertHas("items next", list);
        AssertHas("id receivedAt topic reason detail payload", list.GetProperty("items")[0]);
    }

    [Fact]
    public async Task The_OpenApi_document_describes_every_published_route_and_no_error_without_its_shape()
    {
        var document = await service.GetJsonAsync("/openapi/v1.json");
        Assert.StartsWith("3.", document.GetProperty("openapi").GetString(), StringComparison.Ordinal);
        var described = document.GetProperty("paths").EnumerateObject()
            .SelectMany(path => path.Value.EnumerateObject().Select(method => $"{method.Name.ToUpperInvariant()} {path.Name["/api/v1".Length..]}"));
        var alert = (string[])["acknowledge", "shelve", "unshelve", "out-of-service", "return", "close", "note"];
        string[] published =
        [
            "GET /sites", "GET /sites/{site}", "PUT /sites/{site}", "DELETE /sites/{site}", "GET /sites/{site}/now", "GET /sites/{site}/history",
            "GET /sites/{site}/summary", "GET /alerts", "GET /alerts/{id}", "GET /alerts/stream", .. alert.Select(action => $"POST /alerts/{{id}}/{action}"),
            "GET /units", "GET /units/{unit}/refused", "GET /sites/{site}/predictions", "GET /alerts/load", "GET /alerts/record",
            "GET /webhooks", "POST /webhooks", "GET /webhooks/{id}", "DELETE /webhooks/{id}", "POST /webhooks/{id}/rotate", "POST /webhooks/{id}/test",
            "GET /webhooks/{id}/deliveries", "GET /sites/{site}/contract", "PUT /sites/{site}/contract", "DELETE /sites/{site}/contract", "GET /sites/{site}/contract/month",
            "GET /sites/{site}/visits", "POST /sites/{site}/visits", "GET /visits/{id}", "POST /visits/{id}/move", "POST /visits/{id}/cancel", "POST /visits/{id}/done", "GET /push/key", "POST /push/subscriptions", "DELETE /push/subscriptions/{id}", "GET /alerts/{id}/consequences",
        ];
        Assert.Empty(published.Except(described));
        foreach (var operation in document.GetProperty("paths").EnumerateObject().SelectMany(path => path.Value.EnumerateObject()))
        {
            var responses = operation.Value.GetProperty("responses");
            Assert.True(responses.TryGetProperty("401", out _), operation.Value.GetProperty("operationId").GetString());
            Assert.All(responses.EnumerateObject().Where(r => r.Name[0] is '4' or '5'), r =>
                Assert.True(r.Value.GetProperty("content").TryGetProperty("application/problem+json", out _), r.Name));
        }
    }

    private async Task<LiveSite> RunOnceAsync()
    {
        var site = await service.AddSiteAsync();
        await site.PublishAsync(
            ("pump", SampleSite.Pump(LiveSite.Ago(0.5), false, 1)), ("pump", SampleSite.Pump(LiveSite.Ago(0.4), true, 2)),
            ("pump", SampleSite.Pump(LiveSite.Ago(0.2), false, 3)), ("level", SampleSite.Level(LiveSite.Ago(0.1), "roof", "110", 4)));
        await Eventually.Comes(() => site.GetAsync("now"), now => now.GetProperty("tanks")[1].GetProperty("step").ValueKind == JsonValueKind.Number, "the roof's step");
        return site;
    }

    private static void AssertHas(string members, JsonElement json) =>
        Assert.Empty(members.Split(' ').Except(json.EnumerateObject().Select(member => member.Name)));

    private static void AssertUtc(params JsonElement[] times) =>
        Assert.All(times, time => Assert.Matches(@"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$", time.GetString()));

    private static DateOnly Day(JsonElement json, string member) =>
        DateOnly.ParseExact(json.GetProperty(member).GetString()!, "yyyy-MM-dd", System.Globalization.CultureInfo.InvariantCulture);
}
