using System.Globalization;
using System.Net;
using System.Text.Json;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Api;

public sealed class VisitRouteTests(Served service) : IClassFixture<Served>
{
    private const string Terms = """{"since":"2026-01-01","responseMinutes":{"critical":60,"high":240,"medium":480},"hours":"Mon-Fri 08:00-18:00","visitsPerYear":4,"reportDay":5}""";

    [Fact]
    public async Task A_contract_is_put_read_measured_and_removed()
    {
        var site = await service.AddSiteAsync();
        var path = $"/api/v1/sites/{site.Id}/contract";
        (await service.GetAsync(path)).IsProblem(HttpStatusCode.NotFound);
        (await service.GetAsync(path + "/month")).IsProblem(HttpStatusCode.NotFound);
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("PUT", path, service.Key, Terms)).Status);
        var read = await service.GetJsonAsync(path);
        Assert.Equal(
            """{"since":"2026-01-01","responseMinutes":{"critical":60,"high":240,"medium":480,"low":null},"hours":"Mon-Fri 08:00-18:00","visitsPerYear":4,"reportDay":5,"until":null}""",
            read.GetRawText());
        var month = await service.GetJsonAsync(path + "/month?month=2026-03");
        Assert.Equal(("2026-03", 1, 0), (month.GetProperty("month").GetString(), month.GetProperty("visitsDue").GetInt32(), month.GetProperty("visitsDone").GetInt32()));
        Assert.Equal(["critical", "high", "medium"], month.GetProperty("priorities").EnumerateArray().Select(priority => priority.GetProperty("priority").GetString()));
        (await service.GetAsync(path + "/month?month=March")).IsProblem(HttpStatusCode.BadRequest);
        Assert.Equal(HttpStatusCode.NoContent, (await service.SendAsync("DELETE", path, service.Key)).Status);
        (await service.SendAsync("DELETE", path, service.Key)).IsProblem(HttpStatusCode.NotFound);
    }

    [Theory]
    [InlineData("""{"since":"2026-01-01"}""")]
    [InlineData("""{"since":"tomorrow","responseMinutes":{}}""")]
    [InlineData("""{"since":"2026-01-01","responseMinutes":{"critical":0}}""")]
    [InlineData("""{"since":"2026-01-01","responseMinutes":{"critical":14401}}""")]
    [InlineData("""{"since":"2026-01-01","responseMinutes":{"urgent":60}}""")]
    [InlineData("""{"since":"2026-01-01","responseMinutes":{},"hours":"by day"}""")]
    [InlineData("""{"since":"2026-01-01","responseMinutes":{},"visitsPerYear":53}""")]
    [InlineData("""{"since":"2026-01-01","responseMinutes":{},"reportDay":29}""")]
    [InlineData("""{"since":"2026-01-02","responseMinutes":{},"until":"2026-01-01"}""")]
    public async Task A_contract_with_a_fault_is_refused(string body)
    {
        var site = await service.AddSiteAsync();
        (await service.SendAsync("PUT", $"/api/v1/sites/{site.Id}/contract", service.Key, body)).IsProblem(HttpStatusCode.BadRequest);
    }

    [Fact]
    public async Task A_visit_for_an_alert_answers_it_and_closes_it_with_what_was_found()
    {
        var site = await service.AddSiteAsync();
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("PUT", $"/api/v1/sites/{site.Id}/contract", service.Key, Terms.Replace("Mon-Fri 08:00-18:00", "always", StringComparison.Ordinal))).Status);
        var alert = await site.RaiseAsync();
        await Eventually.Comes(
            () => service.GetJsonAsync($"/api/v1/alerts/{alert}"), one => one.GetProperty("notifiedAt").ValueKind == JsonValueKind.String, "the notice", TimeSpan.FromSeconds(40));
        var running = (await site.GetAsync("contract/month")).GetProperty("responses")[0];
        Assert.Equal((alert, "running"), (running.GetProperty("alert").GetString(), running.GetProperty("state").GetString()));

        var visit = await PlanAsync(site, alert);
        var id = visit.GetProperty("id").GetString();
        Assert.Equal(("planned", alert, 0), (visit.GetProperty("state").GetString(), visit.GetProperty("alert").GetString(), visit.GetProperty("sequence").GetInt32()));
        Assert.Equal(["di@example.org", "caretaker@example.org"], visit.GetProperty("invited").EnumerateArray().Select(address => address.GetString()));
        Assert.Equal(id, (await site.GetAsync("visits")).GetProperty("items")[0].GetProperty("id").GetString());

        var done = await service.SendAsync("POST", $"/api/v1/visits/{id}/done", service.Key, $$"""{"found":[{"alert":"{{alert}}","causeFound":"power-failure"}],"notes":"the main fuse"}""");
        Assert.True(done.Status == HttpStatusCode.OK, done.Text);
        Assert.Equal(("done", "the main fuse"), (done.Json.GetProperty("state").GetString(), done.Json.GetProperty("notes").GetString()));
        var closed = await service.GetJsonAsync($"/api/v1/alerts/{alert}");
        Assert.Equal(("normal", "power-failure"), (closed.GetProperty("state").GetString(), closed.GetProperty("causeFound").GetString()));
        var month = await site.GetAsync("contract/month");
        Assert.Equal(("kept", 1), (month.GetProperty("responses")[0].GetProperty("state").GetString(), month.GetProperty("callOuts").GetInt32()));
        (await service.SendAsync("POST", $"/api/v1/visits/{id}/done", service.Key)).IsProblem(HttpStatusCode.Conflict);
        (await service.SendAsync("POST", $"/api/v1/visits/{id}/move", service.Key, $$"""{"startsAt":"{{In(48)}}"}""")).IsProblem(HttpStatusCode.Conflict);
    }

    [Fact]
    public async Task What_stopped_half_way_goes_on_when_it_is_said_again()
    {
        var site = await service.AddSiteAsync();
        var (alert, id) = (await site.RaiseAsync(), (await PlanAsync(site)).GetProperty("id").GetString());
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("POST", $"/api/v1/alerts/{alert}/close", service.Key, """{"causeFound":"power-failure"}""")).Status);
        var done = await service.SendAsync("POST", $"/api/v1/visits/{id}/done", service.Key, $$"""{"found":[{"alert":"{{alert}}","causeFound":"power-failure"}]}""");
        Assert.True(done.Status == HttpStatusCode.OK, done.Text);
        Assert.Equal("done", done.Json.GetProperty("state").GetString());
    }

    [Fact]
    public async Task A_visit_moves_and_is_cancelled_once()
    {
        var site = await service.AddSiteAsync();
        var id = (await PlanAsync(site)).GetProperty("id").GetString();
        var later = In(48);
        var moved = await service.SendAsync("POST", $"/api/v1/visits/{id}/move", service.Key, $$"""{"startsAt":"{{later}}"}""");
        Assert.Equal((later, 60, 1), (moved.Json.GetProperty("startsAt").GetString(), moved.Json.GetProperty("minutes").GetInt32(), moved.Json.GetProperty("sequence").GetInt32()));
        var cancelled = await service.SendAsync("POST", $"/api/v1/visits/{id}/cancel", service.Key);
        Assert.Equal(("cancelled", 2), (cancelled.Json.GetProperty("state").GetString(), cancelled.Json.GetProperty("sequence").GetInt32()));
        (await service.SendAsync("POST", $"/api/v1/visits/{id}/cancel", service.Key)).IsProblem(HttpStatusCode.Conflict);
        Assert.Equal("cancelled", (await service.GetJsonAsync($"/api/v1/visits/{id}")).GetProperty("state").GetString());
    }

    [Fact]
    public async Task Visits_are_listed_page_by_page_the_last_first()
    {
        var site = await service.AddSiteAsync();
        string?[] ids = [.. (await Task.WhenAll(Enumerable.Range(1, 5).Select(i => PlanAsync(site, hours: 10 * i)))).Select(visit => visit.GetProperty("id").GetString())];
        var (seen, after) = (new List<string?>(), "");
        do
        {
            var page = await site.GetAsync($"visits?limit=2{after}");
            seen.AddRange(page.GetProperty("items").EnumerateArray().Select(visit => visit.GetProperty("id").GetString()));
            after = page.GetProperty("next").GetString() is { } next ? $"&after={next}" : null;
        }
        while (after is not null);
        Assert.Equal(ids.Reverse(), seen);
    }

    [Theory]
    [InlineData("""{"startsAt":"2020-01-01T10:00:00Z","minutes":60,"visitor":{"name":"Di"}}""")]
    [InlineData("""{"startsAt":"2999-01-01T10:00:00Z","minutes":60,"visitor":{"name":"Di"}}""")]
    [InlineData("""{"startsAt":"SOON","minutes":4,"visitor":{"name":"Di"}}""")]
    [InlineData("""{"startsAt":"SOON","minutes":1441,"visitor":{"name":"Di"}}""")]
    [InlineData("""{"startsAt":"SOON","minutes":60,"visitor":{"name":" "}}""")]
    [InlineData("""{"startsAt":"SOON","minutes":60,"visitor":{"name":"Di\u000d\u000aBcc: x"}}""")]
    [InlineData("""{"startsAt":"SOON","minutes":60,"visitor":{"name":"Di","email":"nobody"}}""")]
    [InlineData("""{"startsAt":"SOON","minutes":60,"visitor":{"name":"Di"},"alert":"00000000"}""")]
    [InlineData("""{"startsAt":"SOON","visitor":{"name":"Di"}}""")]
    public async Task A_visit_that_cannot_be_is_refused(string body)
    {
        var site = await service.AddSiteAsync();
        (await service.SendAsync("POST", $"/api/v1/sites/{site.Id}/visits", service.Key, body.Replace("SOON", In(5), StringComparison.Ordinal))).IsProblem(HttpStatusCode.BadRequest);
        Assert.Empty((await site.GetAsync("visits")).GetProperty("items").EnumerateArray());
    }

    [Fact]
    public async Task A_visit_is_not_done_before_it_was_planned_nor_in_a_time_to_come()
    {
        var site = await service.AddSiteAsync();
        var id = (await PlanAsync(site)).GetProperty("id").GetString();
        foreach (var at in (string[])[In(-1), In(1)])
        {
            (await service.SendAsync("POST", $"/api/v1/visits/{id}/done", service.Key, $$"""{"doneAt":"{{at}}"}""")).IsProblem(HttpStatusCode.BadRequest);
        }

        var other = await (await service.AddSiteAsync()).RaiseAsync();
        (await service.SendAsync("POST", $"/api/v1/visits/{id}/done", service.Key, $$"""{"found":[{"alert":"{{other}}","causeFound":"leak"}]}""")).IsProblem(HttpStatusCode.BadRequest);
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("POST", $"/api/v1/visits/{id}/done", service.Key)).Status);
    }

    [Fact]
    public async Task A_caretaker_reads_and_changes_nothing()
    {
        var site = await service.AddSiteAsync();
        var id = (await PlanAsync(site)).GetProperty("id").GetString();
        await service.SendAsync("PUT", $"/api/v1/sites/{site.Id}/contract", service.Key, Terms);
        var key = service.Ledger.AddKey($"care-{site.Id}", "caretaker", new(site.Id)).Secret!;
        foreach (var path in (string[])[$"sites/{site.Id}/contract", $"sites/{site.Id}/contract/month", $"sites/{site.Id}/visits", $"visits/{id}"])
        {
            await service.GetJsonAsync($"/api/v1/{path}", key);
        }

        foreach (var (method, path, body) in ((string, string, string?)[])
            [
                ("PUT", $"sites/{site.Id}/contract", Terms), ("DELETE", $"sites/{site.Id}/contract", null), ("POST", $"sites/{site.Id}/visits", New()),
                ("POST", $"visits/{id}/move", $$"""{"startsAt":"{{In(9)}}"}"""), ("POST", $"visits/{id}/cancel", null), ("POST", $"visits/{id}/done", null),
            ])
        {
            (await service.SendAsync(method, $"/api/v1/{path}", key, body)).IsProblem(HttpStatusCode.Forbidden);
        }

        Assert.Equal("planned", (await service.GetJsonAsync($"/api/v1/visits/{id}")).GetProperty("state").GetString());
    }

    [Fact]
    public async Task Another_tenants_visits_and_contract_are_not_there()
    {
        var (site, other) = (await service.AddSiteAsync(), await service.AddSiteAsync());
        var id = (await PlanAsync(site)).GetProperty("id").GetString();
        await service.SendAsync("PUT", $"/api/v1/sites/{site.Id}/contract", service.Key, Terms);
        var key = service.AddKey($"other-{site.Id}", other.Id);
        foreach (var (method, path, body) in ((string, string, string?)[])
            [
                ("GET", $"sites/{site.Id}/contract", null), ("GET", $"sites/{site.Id}/contract/month", null), ("PUT", $"sites/{site.Id}/contract", Terms),
                ("DELETE", $"sites/{site.Id}/contract", null), ("GET", $"sites/{site.Id}/visits", null), ("POST", $"sites/{site.Id}/visits", New()),
                ("GET", $"visits/{id}", null), ("POST", $"visits/{id}/move", $$"""{"startsAt":"{{In(9)}}"}"""), ("POST", $"visits/{id}/cancel", null), ("POST", $"visits/{id}/done", null),
            ])
        {
            (await service.SendAsync(method, $"/api/v1/{path}", key, body)).IsProblem(HttpStatusCode.NotFound);
        }
    }

    private async Task<JsonElement> PlanAsync(LiveSite site, string? alert = null, int hours = 24)
    {
        var answer = await service.SendAsync("POST", $"/api/v1/sites/{site.Id}/visits", service.Key, New(alert, hours));
        Assert.True(answer.Status == HttpStatusCode.Created, answer.Text);
        Assert.Equal($"/api/v1/visits/{answer.Json.GetProperty("id").GetString()}", answer.Headers.Location?.ToString());
        return answer.Json;
    }

    private static string New(string? alert = null, int hours = 24) =>
        $$"""{"startsAt":"{{In(hours)}}","minutes":60,"visitor":{"name":"Di","email":"di@example.org"},"alert":{{(alert is null ? "null" : $"\"{alert}\"")}}}""";

    private static string In(int hours) => TimeProvider.System.GetUtcNow().AddHours(hours).ToString("yyyy-MM-ddTHH:mm:00.000Z", CultureInfo.InvariantCulture);
}
