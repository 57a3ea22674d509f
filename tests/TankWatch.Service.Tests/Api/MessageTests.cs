using System.Net;
using System.Text;
using System.Text.Json;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>What a unit says to the embedded broker, as the API then shows it.</summary>
public sealed class MessageTests(Served service) : IClassFixture<Served>
{
    [Fact]
    public async Task What_a_unit_says_shows_in_now_and_history()
    {
        var site = await service.AddSiteAsync();
        await site.PublishAsync(
            ("level", SampleSite.Level(LiveSite.Ago(9), "roof", "110", 0)), ("pump", SampleSite.Pump(LiveSite.Ago(9), false, 1)), ("pump", SampleSite.Pump(LiveSite.Ago(8), true, 2)),
            ("level", SampleSite.Level(LiveSite.Ago(3), "roof", "111", 3)), ("pump", SampleSite.Pump(LiveSite.Ago(2), false, 4)),
            ("level", SampleSite.Level(LiveSite.Ago(1), "sump", "110", 5)));
        var now = await NowAsync(site, now => Tank(now, "sump").GetProperty("step").ValueKind == JsonValueKind.Number);

        var roof = Tank(now, "roof");
        Assert.Equal(("overhead", 3, 3), (roof.GetProperty("role").GetString(), roof.GetProperty("step").GetInt32(), roof.GetProperty("wet").GetArrayLength()));
        Assert.Equal((5800.0, 6000.0), Interval(roof.GetProperty("volumeLitres")));
        Assert.InRange(roof.GetProperty("ageSeconds").GetDouble(), 0, 240);
        Assert.False(roof.GetProperty("stale").GetBoolean());
        Assert.Equal((4800.0, 7200.0), Interval(Tank(now, "sump").GetProperty("volumeLitres")));
        var pump = now.GetProperty("pumps")[0];
        Assert.Equal(("p1", false, "auto", "level"), (pump.GetProperty("pump").GetString(), pump.GetProperty("running").GetBoolean(), pump.GetProperty("mode").GetString(), pump.GetProperty("cause").GetString()));
        Assert.Equal(site.Unit, now.GetProperty("units")[0].GetProperty("unit").GetString());

        var history = await site.GetAsync("history");
        Assert.Equal(["sump", "roof", "roof"], history.GetProperty("steps").EnumerateArray().Select(step => step.GetProperty("tank").GetString()));
        Assert.Equal([2, 3, 2], history.GetProperty("steps").EnumerateArray().Select(step => step.GetProperty("step").GetInt32()));
        var run = Assert.Single(history.GetProperty("runs").EnumerateArray());
        Assert.Equal(("p1", "level", "level"), (run.GetProperty("pump").GetString(), run.GetProperty("startCause").GetString(), run.GetProperty("stopCause").GetString()));
        Assert.Equal(360, (run.GetProperty("stoppedAt").GetDateTimeOffset() - run.GetProperty("startedAt").GetDateTimeOffset()).TotalSeconds, 1.0);
        Assert.Equal(1, (await site.GetAsync("summary?period=week")).GetProperty("current").GetProperty("pumps")[0].GetProperty("starts").GetInt32());
    }

    [Fact]
    public async Task What_is_not_known_is_null_and_no_zero()
    {
        var site = await service.AddSiteAsync();
        var now = await site.GetAsync("now");
        foreach (var member in (string[])["step", "wet", "volumeLitres", "ageSeconds", "timeToEmpty"])
        {
            Assert.Equal(JsonValueKind.Null, Tank(now, "roof").GetProperty(member).ValueKind);
        }

        Assert.Equal(JsonValueKind.Null, now.GetProperty("pumps")[0].GetProperty("running").ValueKind);
        Assert.Equal(JsonValueKind.Null, now.GetProperty("units")[0].GetProperty("heardAt").ValueKind);
    }

    [Fact]
    public async Task A_message_that_came_twice_counts_once()
    {
        var site = await service.AddSiteAsync();
        var message = ("level", SampleSite.Level(LiveSite.Ago(1), "roof", "100", 1));
        await site.PublishAsync(message, message, ("level", SampleSite.Level(LiveSite.Ago(0.5), "roof", "110", 4)));
        var unit = (await NowAsync(site, now => now.GetProperty("units")[0].GetProperty("accepted").GetInt32() == 2)).GetProperty("units")[0];
        Assert.Equal((1, 2), (unit.GetProperty("duplicates").GetInt32(), unit.GetProperty("missing").GetInt32()));
    }

    [Theory]
    [InlineData("level", """{"tank":"roof","wet":"yes"}""", "wrong-type")]
    [InlineData("level", """{"tank":"cellar","wet":[true,false,false]}""", "unknown-device")]
    [InlineData("level", """{"tank":"roof","wet":[true]}""", "wrong-probe-count")]
    [InlineData("supply", """{"volts":230}""", "missing-member")]
    [InlineData("pump", "not JSON, but <b>text</b> é", "malformed-json")]
    [InlineData("weather", "{}", "unknown-topic")]
    public async Task A_message_that_cannot_be_read_is_shown_as_it_came_with_its_reason_and_harms_no_other(string kind, string payload, string reason)
    {
        var site = await service.AddSiteAsync();
        await site.PublishAsync((kind, payload), ("level", SampleSite.Level(LiveSite.Ago(1), "roof", "100", 1)));
        await NowAsync(site, now => now.GetProperty("units")[0] is var unit && unit.GetProperty("refused").GetInt32() == 1 && unit.GetProperty("accepted").GetInt32() == 1);

        var list = await service.GetJsonAsync($"/api/v1/units/{site.Unit}/refused");
        var refused = Assert.Single(list.GetProperty("items").EnumerateArray());
        Assert.Equal((payload, reason), (refused.GetProperty("payload").GetString(), refused.GetProperty("reason").GetString()));
        Assert.Equal($"tankwatch/v1/{site.Unit}/{kind}", refused.GetProperty("topic").GetString());
        Assert.Equal(Encoding.UTF8.GetByteCount(payload), refused.GetProperty("length").GetInt32());
        Assert.NotEqual("", refused.GetProperty("detail").GetString());
        var whole = await service.GetAsync($"/api/v1/units/{site.Unit}/refused/{refused.GetProperty("id").GetString()}");
        Assert.Equal((HttpStatusCode.OK, "application/octet-stream", payload), (whole.Status, whole.MediaType, whole.Text));
    }

    [Fact]
    public async Task A_message_that_names_no_unit_is_shown_to_keys_that_see_every_site()
    {
        await service.ReceiveAsync("tankwatch/v1/no unit/level", "{}");
        var list = await service.GetJsonAsync("/api/v1/refused");
        var refused = list.GetProperty("items").EnumerateArray().First(item => item.GetProperty("topic").GetString() == "tankwatch/v1/no unit/level");
        Assert.Equal(("{}", "unknown-topic"), (refused.GetProperty("payload").GetString(), refused.GetProperty("reason").GetString()));
    }

    [Fact]
    public async Task Of_a_backlog_with_one_bad_element_the_rest_is_kept()
    {
        var site = await service.AddSiteAsync();
        var good = Enumerable.Range(0, 20).Select(n => SampleSite.Level(LiveSite.Ago(30 - n), "roof", n % 2 == 0 ? "100" : "110", n));
        await site.PublishAsync(("level", $"[{string.Join(',', good.Take(10))},{{\"tank\":7}},{string.Join(',', good.Skip(10))}]"));
        await NowAsync(site, now => now.GetProperty("units")[0].GetProperty("accepted").GetInt32() == 20);
        var refused = await service.GetJsonAsync($"/api/v1/units/{site.Unit}/refused");
        Assert.Equal("{\"tank\":7}", Assert.Single(refused.GetProperty("items").EnumerateArray()).GetProperty("payload").GetString());
    }

    [Theory]
    [InlineData("history?from=2026-03-01T00:00:00Z&to=2026-02-01T00:00:00Z")]
    [InlineData("history?from=2024-03-01T00:00:00Z&to=2026-02-01T00:00:00Z")]
    [InlineData("history?to=soon")]
    [InlineData("summary?period=year")]
    [InlineData("summary?date=2026-02-30")]
    [InlineData("summary?date=1.2.2026")]
    public async Task A_time_or_period_that_cannot_be_is_refused(string rest)
    {
        var site = await service.AddSiteAsync();
        (await service.GetAsync($"/api/v1/sites/{site.Id}/{rest}")).IsProblem(HttpStatusCode.BadRequest);
    }

    private static Task<JsonElement> NowAsync(LiveSite site, Func<JsonElement, bool> willDo) =>
        Eventually.Comes(() => site.GetAsync("now"), willDo, $"the messages in now of {site.Id}");

    private static JsonElement Tank(JsonElement now, string id) =>
        now.GetProperty("tanks").EnumerateArray().Single(tank => tank.GetProperty("tank").GetString() == id);

    private static (double, double) Interval(JsonElement interval) => (interval.GetProperty("low").GetDouble(), interval.GetProperty("high").GetDouble());
}
