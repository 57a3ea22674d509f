using System.Net;
using Microsoft.AspNetCore.Http;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.Configuration;
using Microsoft.Extensions.DependencyInjection;
using TankWatch.Service.Api;
using TankWatch.Service.Configuration;
using TankWatch.Service.Operation;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Api;

public sealed class AccessTests(Served service) : IClassFixture<Served>
{
    [Theory]
    [InlineData("GET", "/api/v1/nothing", null, HttpStatusCode.NotFound)]
    [InlineData("GET", "/api/v2/sites", null, HttpStatusCode.NotFound)]
    [InlineData("GET", "/api/v1/sites/nowhere", null, HttpStatusCode.NotFound)]
    [InlineData("GET", "/api/v1/alerts/nothing", null, HttpStatusCode.NotFound)]
    [InlineData("GET", "/api/v1/units/nobody/refused", null, HttpStatusCode.NotFound)]
    [InlineData("DELETE", "/api/v1/alerts", null, HttpStatusCode.MethodNotAllowed)]
    [InlineData("GET", "/api/v1/alerts/a/acknowledge", null, HttpStatusCode.MethodNotAllowed)]
    [InlineData("GET", "/api/v1/sites?limit=0", null, HttpStatusCode.BadRequest)]
    [InlineData("GET", "/api/v1/alerts?limit=many", null, HttpStatusCode.BadRequest)]
    [InlineData("GET", "/api/v1/alerts?state=odd", null, HttpStatusCode.BadRequest)]
    [InlineData("GET", "/api/v1/alerts?kind=odd", null, HttpStatusCode.BadRequest)]
    [InlineData("GET", "/api/v1/alerts?from=yesterday", null, HttpStatusCode.BadRequest)]
    [InlineData("PUT", "/api/v1/sites/any", "text/plain", HttpStatusCode.UnsupportedMediaType)]
    [InlineData("POST", "/api/v1/alerts/any/note", "text/plain", HttpStatusCode.UnsupportedMediaType)]
    [InlineData("POST", "/api/v1/alerts/any/note", "application/json", HttpStatusCode.BadRequest)]
    public async Task A_stranger_gets_401_where_a_key_would_get_another_error(string method, string path, string? mediaType, HttpStatusCode withKey)
    {
        var body = mediaType is null ? null : "hello";
        var stranger = await service.SendAsync(method, path, null, body, mediaType ?? "");
        stranger.IsProblem(HttpStatusCode.Unauthorized);
        Assert.Contains("Bearer", stranger.Headers.WwwAuthenticate.ToString(), StringComparison.Ordinal);
        (await service.SendAsync(method, path, service.Key, body, mediaType ?? "")).IsProblem(withKey);
    }

    [Fact]
    public async Task A_key_opens_until_it_is_revoked_and_no_other_word_does()
    {
        var key = service.AddKey("short-lived");
        Assert.Equal(HttpStatusCode.OK, (await service.GetAsync("/api/v1/sites", key)).Status);
        foreach (var wrong in (string[])[key + "x", key[..^1], key.ToUpperInvariant(), "short-lived", "' OR 1=1 --"])
        {
            (await service.GetAsync("/api/v1/sites", wrong)).IsProblem(HttpStatusCode.Unauthorized);
        }

        Assert.True(service.Ledger.RevokeKey("short-lived"));
        (await service.GetAsync("/api/v1/sites", key)).IsProblem(HttpStatusCode.Unauthorized);
    }

    /// <summary>Else the first answers after a restart would be that there are no sites.</summary>
    [Fact]
    public async Task Until_the_sites_are_read_nobody_is_told_that_there_are_none()
    {
        var folder = Directory.CreateTempSubdirectory("tankwatch-unread-").FullName;
        var settings = new Settings();
        settings.Data.Path = folder;
        await using (var app = ServeHost.Build(new ServiceShape(settings, new ConfigurationBuilder().AddInMemoryCollection([]).Build(), Demo: true), TimeProvider.System))
        {
            var access = new Access(_ => throw new InvalidOperationException("let in"), app.Services.GetRequiredService<CallerFinder>(), new(OpenToAll: true), app.Services.GetRequiredService<SiteKeeper>());
            var context = new DefaultHttpContext { RequestServices = app.Services, Request = { Path = "/api/v1/sites" }, Response = { Body = new MemoryStream() } };
            await access.InvokeAsync(context);
            Assert.Equal((503, "2"), (context.Response.StatusCode, context.Response.Headers.RetryAfter.ToString()));
            context.Request.Path = "/health/live";
            await Assert.ThrowsAsync<InvalidOperationException>(() => access.InvokeAsync(context));

            var home = ((IEndpointRouteBuilder)app).DataSources.SelectMany(source => source.Endpoints).OfType<RouteEndpoint>().First(endpoint => endpoint.RoutePattern.RawText == "/");
            (context.Request.Path, context.Response.StatusCode) = ("/", 200);
            context.SetEndpoint(home);
            await access.InvokeAsync(context);
            Assert.Equal(503, context.Response.StatusCode);
        }

        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task A_units_password_is_no_key()
    {
        var site = await service.AddSiteAsync();
        (await service.GetAsync("/api/v1/sites", site.Secret)).IsProblem(HttpStatusCode.Unauthorized);
    }

    [Theory]
    [InlineData("/health/live", "application/json")]
    [InlineData("/health/ready", "application/json")]
    [InlineData("/metrics", "text/plain")]
    [InlineData("/openapi/v1.json", "application/json")]
    public async Task What_is_for_those_who_watch_the_service_is_open(string path, string mediaType)
    {
        var answer = await service.SendAsync("GET", path, null);
        Assert.Equal((HttpStatusCode.OK, mediaType), (answer.Status, answer.MediaType));
    }

    [Fact]
    public async Task The_metrics_count_what_was_taken()
    {
        var site = await service.AddSiteAsync();
        await site.PublishAsync(("level", SampleSite.Level(LiveSite.Ago(1), "roof", "100", 1)), ("level", "{}"));
        var metrics = await Eventually.Comes(
            () => service.SendAsync("GET", "/metrics", null),
            answer => answer.Text.Contains("reason=\"missing-member\"", StringComparison.Ordinal), "a refused message among the metrics");
        Assert.Contains("tankwatch_", metrics.Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_key_of_one_site_sees_that_site_alone()
    {
        var (own, other) = (await service.AddSiteAsync(), await service.AddSiteAsync());
        var key = service.AddKey("of-one-site", own.Id);
        var (ownAlert, alert) = (await own.RaiseAsync(), await other.RaiseAsync());
        await other.PublishAsync(("level", "{}"));

        foreach (var path in (string[])[$"sites/{other.Id}", $"sites/{other.Id}/now", $"sites/{other.Id}/history", $"sites/{other.Id}/summary", $"sites/{other.Id}/predictions",
            $"alerts/{alert}", $"alerts/{alert}/events", $"alerts?site={other.Id}", $"units/{other.Unit}/refused", $"units/{other.Unit}/refused/1"])
        {
            var hidden = (await service.GetAsync($"/api/v1/{path}", key)).IsProblem(HttpStatusCode.NotFound);
            var absent = await service.GetAsync($"/api/v1/{path.Replace(other.Id, "nowhere", StringComparison.Ordinal).Replace(alert, "nothing", StringComparison.Ordinal).Replace(other.Unit, "nobody", StringComparison.Ordinal)}", key);
            Assert.Equal(absent.Json.GetProperty("detail").GetString(), hidden.Json.GetProperty("detail").GetString());
        }

        (await service.SendAsync("PUT", $"/api/v1/sites/{other.Id}", key, SampleSite.Json(other.Id, other.Unit))).IsProblem(HttpStatusCode.NotFound);
        var taken = (await service.SendAsync("PUT", $"/api/v1/sites/{own.Id}", key, SampleSite.Json(own.Id, other.Unit))).IsProblem(HttpStatusCode.Conflict);
        Assert.Contains(other.Unit, taken.Text, StringComparison.Ordinal);
        Assert.DoesNotContain(other.Id, taken.Text, StringComparison.Ordinal);
        (await service.SendAsync("DELETE", $"/api/v1/sites/{other.Id}", key)).IsProblem(HttpStatusCode.NotFound);
        (await service.SendAsync("POST", $"/api/v1/alerts/{alert}/acknowledge", key, "{}")).IsProblem(HttpStatusCode.NotFound);
        Assert.Equal("unacknowledged", (await service.GetJsonAsync($"/api/v1/alerts/{alert}")).GetProperty("state").GetString());

        Assert.Equal([own.Id], await ListedAsync("sites", "id"));
        Assert.Equal([ownAlert], await ListedAsync("alerts", "id"));
        Assert.Equal([own.Unit], await ListedAsync("units", "unit"));
        Assert.Equal(own.Id, (await service.GetJsonAsync($"/api/v1/sites/{own.Id}/now", key)).GetProperty("site").GetString());

        async Task<IEnumerable<string?>> ListedAsync(string list, string member) =>
            (await service.GetJsonAsync($"/api/v1/{list}", key)).GetProperty("items").EnumerateArray().Select(item => item.GetProperty(member).GetString());
    }
}
