using System.Net;
using Microsoft.Extensions.Configuration;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;
using TankWatch.Service.Operation;
using TankWatch.Service.Tests.Pages;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>What browsers of other sites, scanners and broken clients send.</summary>
public sealed class OddRequestTests(Served service) : IClassFixture<Served>
{
    [Theory]
    [InlineData("GET / HTTP/1.1\nHost: ;")]
    [InlineData("GET / HTTP/1.1\nHost: x:99999")]
    [InlineData("GET / HTTP/1.1\nHost: x:port")]
    [InlineData("GET / HTTP/1.1\nHost: [::1")]
    [InlineData("GET / HTTP/1.1\nHost:")]
    [InlineData("GET / HTTP/1.0")]
    [InlineData("GET /no-such-page HTTP/1.0")]
    [InlineData("GET /health/live HTTP/1.0")]
    public async Task A_host_that_makes_no_address_is_the_clients_fault(string request)
    {
        var answer = await RawConnection.AskAsync(service.Url, request + "\nAccept: text/html\nConnection: close\n\n");
        Assert.StartsWith("HTTP/1.1 400 ", answer, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("/")]
    [InlineData("/units")]
    [InlineData("/no-such-page")]
    [InlineData("/assets/any/style.css")]
    [InlineData("/assets/any/icon.svg")]
    [InlineData("/health/live")]
    [InlineData("/health/ready")]
    [InlineData("/openapi/v1.json")]
    [InlineData("/reference")]
    public async Task Head_says_what_get_says_without_the_body(string path)
    {
        var host = new Uri(service.Url).Authority;
        string Request(string method) => $"{method} {path} HTTP/1.1\nHost: {host}\nAuthorization: Bearer {service.Key}\nAccept: text/html\nConnection: close\n\n";
        var (get, head) = (await RawConnection.AskAsync(service.Url, Request("GET")), await RawConnection.AskAsync(service.Url, Request("HEAD")));
        Assert.Equal(get.Split("\r\n")[0], head.Split("\r\n")[0]);
        Assert.EndsWith("\r\n\r\n", head, StringComparison.Ordinal);
        Assert.Single(head.Split("\r\n\r\n", StringSplitOptions.RemoveEmptyEntries));
        foreach (var name in (string[])["Content-Type", "Content-Length"])
        {
            // A length may be left out, but never be another one than that of GET.
            Assert.True(Header(head, name) is null ? name == "Content-Length" : Header(head, name) == Header(get, name), $"{name}: {head}");
        }

        static string? Header(string answer, string name) =>
            answer.Split("\r\n\r\n")[0].Split("\r\n").FirstOrDefault(line => line.StartsWith(name + ":", StringComparison.OrdinalIgnoreCase));
    }

    [Fact]
    public async Task The_metrics_are_only_read()
    {
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("HEAD", "/metrics", null)).Status);
        Assert.Equal(HttpStatusCode.MethodNotAllowed, (await service.SendAsync("POST", "/metrics", null)).Status);
    }

    [Theory]
    [InlineData("/sign-in")]
    [InlineData("/sign-out")]
    [InlineData("/demo/speed")]
    [InlineData("/demo/first-look")]
    public async Task Whoever_opens_the_address_of_a_form_comes_to_the_first_page(string path)
    {
        var answer = await service.GetAsync(path);
        Assert.Equal((HttpStatusCode.Redirect, "/"), (answer.Status, answer.Headers.Location?.ToString()));
    }

    [Theory]
    [InlineData("Text/HTML", "text/html")]
    [InlineData("text/html;q=0.1, */*", "text/html")]
    [InlineData("text/html;q=0, */*", "application/problem+json")]
    [InlineData("application/json", "application/problem+json")]
    public async Task An_error_is_a_page_for_those_who_want_one(string accept, string mediaType)
    {
        using var client = new HttpClient();
        using var request = new HttpRequestMessage(HttpMethod.Get, service.Url + "/no-such-page");
        request.Headers.TryAddWithoutValidation("Accept", accept);
        using var answer = await client.SendAsync(request, TestContext.Current.CancellationToken);
        Assert.Equal((HttpStatusCode.NotFound, mediaType), (answer.StatusCode, answer.Content.Headers.ContentType?.MediaType));
    }

    [Fact]
    public async Task An_asset_without_a_name_does_not_exist() =>
        Assert.Equal(HttpStatusCode.NotFound, (await service.GetAsync("/assets/x")).Status);

    [Fact]
    public void A_forged_form_cookie_fills_no_log()
    {
        using var services = new ServiceCollection().AddLogs(new ConfigurationBuilder().Build()).BuildServiceProvider();
        var logs = services.GetRequiredService<ILoggerFactory>();
        Assert.False(logs.CreateLogger("Microsoft.AspNetCore.Antiforgery.DefaultAntiforgery").IsEnabled(LogLevel.Error));
        Assert.True(logs.CreateLogger("Microsoft.AspNetCore.Server.Kestrel").IsEnabled(LogLevel.Error));
    }

    [Fact]
    public async Task A_body_that_does_not_end_does_not_hold_up_the_end_of_the_service()
    {
        var ending = new Served();
        await ending.InitializeAsync();
        try
        {
            using var slow = await RawConnection.OpenAsync(ending.Url);
            await slow.SendAsync($"PUT /api/v1/sites/any HTTP/1.1\nHost: localhost\nAuthorization: Bearer {ending.Key}\nContent-Type: application/json\nContent-Length: 1000\nExpect: 100-continue\n\n");
            Assert.StartsWith("HTTP/1.1 100 ", await slow.ReadUntilAsync("\r\n\r\n"), StringComparison.Ordinal); // It is being read.
            await slow.SendAsync("{");
            var stopped = ending.StopAsync();
            Assert.StartsWith("HTTP/1.1 503 ", await slow.ReadUntilAsync("\r\n\r\n"), StringComparison.Ordinal);
            await stopped.WaitAsync(TimeSpan.FromSeconds(60), TestContext.Current.CancellationToken);
        }
        finally
        {
            await ending.DisposeAsync();
        }
    }

    [Theory]
    [InlineData("Sec-Fetch-Site", "cross-site")]
    [InlineData("Sec-Fetch-Site", "same-site")]
    [InlineData("Origin", "http://elsewhere.example")]
    [InlineData("Origin", "http://127.0.0.1:1")]
    [InlineData("Origin", "null")]
    [InlineData("Origin", "garbage")]
    [InlineData("Sec-Fetch-Site", "same-origin", true)]
    [InlineData("Sec-Fetch-Site", "none", true)]
    [InlineData("Origin", "own", true)]
    [InlineData("X-Nothing", "of the sort", true)] // A script is no browser.
    public async Task The_demonstration_takes_orders_from_its_own_pages_and_from_scripts_alone(string header, string value, bool taken = false)
    {
        var demo = await Served.AsDemoAsync();
        try
        {
            var id = await (await demo.AddSiteAsync()).RaiseAsync();
            using var client = new HttpClient();
            using var request = new HttpRequestMessage(HttpMethod.Post, $"{demo.Url}/api/v1/alerts/{id}/acknowledge");
            request.Headers.Add(header, value == "own" ? demo.Url : value);
            using var answer = await client.SendAsync(request, TestContext.Current.CancellationToken);
            Assert.Equal(taken ? HttpStatusCode.OK : HttpStatusCode.Forbidden, answer.StatusCode);
            Assert.Equal(taken ? "application/json" : "application/problem+json", answer.Content.Headers.ContentType?.MediaType);
            var state = (await demo.SendAsync("GET", $"/api/v1/alerts/{id}", null)).Json.GetProperty("state").GetString();
            Assert.Equal(taken ? "acknowledged" : "unacknowledged", state);
        }
        finally
        {
            await demo.DisposeAsync();
        }
    }

    [Theory]
    [InlineData("Sec-Fetch-Site", "same-site", HttpStatusCode.Unauthorized)]
    [InlineData("Origin", "http://elsewhere.example", HttpStatusCode.Unauthorized)]
    [InlineData("Origin", "null", HttpStatusCode.Unauthorized)]
    [InlineData("Origin", "own", HttpStatusCode.NotFound)]
    public async Task A_session_takes_orders_from_its_own_pages_alone(string header, string value, HttpStatusCode status)
    {
        using var browser = new Browser(service.Url);
        using var signedIn = await browser.SendAsync(await browser.OpenDoorAsync(), "/sign-in", ("key", service.Key));
        using var client = new HttpClient(new HttpClientHandler { UseCookies = false });
        using var request = new HttpRequestMessage(HttpMethod.Post, service.Url + "/api/v1/alerts/nothing/acknowledge");
        request.Headers.Add("Cookie", signedIn.Headers.GetValues("Set-Cookie").Select(cookie => cookie.Split(';')[0]));
        request.Headers.Add(header, value == "own" ? service.Url : value);
        using var answer = await client.SendAsync(request, TestContext.Current.CancellationToken);
        Assert.Equal(status, answer.StatusCode);
    }

    [Fact]
    public async Task A_key_in_a_header_is_not_asked_where_it_comes_from()
    {
        var site = await service.AddSiteAsync();
        using var client = new HttpClient();
        using var request = new HttpRequestMessage(HttpMethod.Delete, $"{service.Url}/api/v1/sites/{site.Id}");
        request.Headers.Add("Origin", "http://elsewhere.example");
        request.Headers.Authorization = new("Bearer", service.Key);
        using var answer = await client.SendAsync(request, TestContext.Current.CancellationToken);
        Assert.Equal(HttpStatusCode.NoContent, answer.StatusCode);
    }

    [Theory]
    [InlineData("")]
    [InlineData("/history?from=9999-12-31T23:59:60Z")]
    public async Task A_site_without_units_is_served_like_any_other(string rest)
    {
        var id = $"bare-{rest.Length}";
        var file = SampleSite.Json(id).Replace("""{ "id": "fu-1", "reports": [ "sump", "roof", "p1" ] }""", "", StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.Created, (await service.SendAsync("PUT", $"/api/v1/sites/{id}", service.Key, file)).Status);
        Assert.Equal(id, (await service.GetJsonAsync($"/api/v1/sites/{id}/now")).GetProperty("site").GetString());
        Assert.Equal(HttpStatusCode.OK, (await service.GetAsync($"/api/v1/sites/{id}/history")).Status);
        Assert.Equal(rest == "" ? HttpStatusCode.OK : HttpStatusCode.BadRequest, (await service.GetAsync($"/api/v1/sites/{id}{rest}")).Status);
        foreach (var page in (string[])["/", $"/sites/{id}", "/units"])
        {
            Assert.Equal((HttpStatusCode.OK, "text/html"), await service.GetAsync(page) is var shown ? (shown.Status, shown.MediaType) : default);
        }
    }
}
