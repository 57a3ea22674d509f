using System.Net;
using System.Text.RegularExpressions;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed class PageTests(Served service) : IClassFixture<Served>
{
    [Fact]
    public async Task Whoever_gives_a_key_is_let_in_by_a_cookie_that_scripts_and_other_sites_cannot_use()
    {
        var site = await service.AddSiteAsync("Hazel Row");
        using var browser = new Browser(service.Url);
        var door = await browser.OpenDoorAsync();
        Assert.Contains("API key", door, StringComparison.Ordinal);
        Assert.DoesNotContain("Hazel Row", door, StringComparison.Ordinal);

        using var answer = await browser.SendAsync(door, "/sign-in", ("key", service.Key));
        Assert.Equal((HttpStatusCode.Redirect, "/"), (answer.StatusCode, answer.Headers.Location?.ToString()));
        var cookie = Assert.Single(answer.Headers.GetValues("Set-Cookie"), cookie => cookie.StartsWith("tankwatch-session=", StringComparison.Ordinal));
        Assert.Contains("httponly", cookie, StringComparison.OrdinalIgnoreCase);
        Assert.Contains("samesite=strict", cookie, StringComparison.OrdinalIgnoreCase);
        Assert.DoesNotContain(service.Key, cookie, StringComparison.Ordinal);
        var page = await browser.OpenAsync();
        Assert.Contains("Hazel Row", page, StringComparison.Ordinal);
        Assert.Contains($"id=\"b-{site.Id}\"", page, StringComparison.Ordinal);

        (await browser.SendAsync(page, "/sign-out")).Dispose();
        Assert.DoesNotContain("Hazel Row", await browser.OpenDoorAsync(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Signing_in_leads_to_the_page_that_was_asked_for_also_after_a_wrong_key()
    {
        using var browser = new Browser(service.Url);
        var door = await browser.OpenAsync("/units?q=%C3%BC&page=2", HttpStatusCode.Unauthorized);
        using var wrong = await browser.SendAsync(door, "/sign-in", ("key", "wrong"), ("to", To(door)));
        var again = await wrong.Content.ReadAsStringAsync(TestContext.Current.CancellationToken);
        using var answer = await browser.SendAsync(again, "/sign-in", ("key", service.Key), ("to", To(again)));
        Assert.Equal((HttpStatusCode.Redirect, "/units?q=%C3%BC&page=2"), (answer.StatusCode, answer.Headers.Location?.ToString()));

        static string To(string page) => WebUtility.HtmlDecode(Regex.Match(page, "name=\"to\" value=\"([^\"]*)\"").Groups[1].Value);
    }

    [Theory]
    [InlineData("https://example.org/")]
    [InlineData("//example.org")]
    [InlineData("/\\example.org")]
    [InlineData("javascript:alert(1)")]
    [InlineData("/a\r\nSet-Cookie: x=y")]
    [InlineData("")]
    public async Task Signing_in_leads_nowhere_else(string to)
    {
        using var browser = new Browser(service.Url);
        using var answer = await browser.SendAsync(await browser.OpenDoorAsync(), "/sign-in", ("key", service.Key), ("to", to));
        Assert.Equal((HttpStatusCode.Redirect, "/"), (answer.StatusCode, answer.Headers.Location?.ToString()));
    }

    [Theory]
    [InlineData("")]
    [InlineData("wrong")]
    [InlineData("all-sites")]
    public async Task A_wrong_key_opens_nothing_and_is_not_repeated(string key)
    {
        using var browser = new Browser(service.Url);
        using var answer = await browser.SendAsync(await browser.OpenDoorAsync(), "/sign-in", ("key", key));
        Assert.Equal(HttpStatusCode.Unauthorized, answer.StatusCode);
        Assert.DoesNotContain(answer.Headers, header => header.Key == "Set-Cookie" && header.Value.Any(v => v.StartsWith("tankwatch-session", StringComparison.Ordinal)));
        var page = await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken);
        Assert.Contains("No such key is in force.", page, StringComparison.Ordinal);
        Assert.True(key == "" || !page.Contains(key, StringComparison.Ordinal));
    }

    [Fact]
    public async Task A_key_that_is_revoked_ends_its_sessions()
    {
        using var browser = await SignedInAsync(service.AddKey("soon-gone"));
        Assert.Contains("soon-gone", await browser.OpenAsync(), StringComparison.Ordinal);
        service.Ledger.RevokeKey("soon-gone");
        Assert.Contains("API key", await browser.OpenDoorAsync(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_hostile_name_stays_text()
    {
        await service.AddSiteAsync("<script>alert(1)</script>\" onload=\"x \u202Etxet");
        using var browser = await SignedInAsync(service.Key);
        var page = await browser.OpenAsync();
        Assert.DoesNotContain("<script>", page, StringComparison.OrdinalIgnoreCase);
        Assert.DoesNotContain("\" onload=", page, StringComparison.Ordinal);
        Assert.Contains("&lt;script&gt;alert(1)", page, StringComparison.Ordinal);
        Assert.DoesNotContain('\u202E', page);
    }

    [Fact]
    public async Task An_alert_is_acknowledged_by_its_form_with_a_note()
    {
        var site = await service.AddSiteAsync();
        var id = await site.RaiseAsync();
        using var browser = await SignedInAsync(service.Key);
        var page = await Eventually.Comes(() => browser.OpenAsync(), page => page.Contains(id, StringComparison.Ordinal), "the alert's form");
        using var answer = await browser.SendAsync(page, $"/alerts/{id}/acknowledge", ("note", "on my way"), ("back", "/"));
        Assert.Equal((HttpStatusCode.Redirect, "/"), (answer.StatusCode, answer.Headers.Location?.ToString()));
        Assert.Equal(("acknowledged", "all-sites"), await StateAsync(id));
        await Eventually.Comes(
            () => browser.OpenAsync($"/?q={site.Id}"), page => page.Contains("Acknowledged by <bdi>all-sites</bdi>", StringComparison.Ordinal), "who acknowledged");
        var events = await service.GetJsonAsync($"/api/v1/alerts/{id}/events");
        Assert.Contains(events.GetProperty("items").EnumerateArray(), e => e.GetProperty("note").GetString() == "on my way");
    }

    [Theory]
    [InlineData("/alerts/{id}/acknowledge")]
    [InlineData("/sign-out")]
    [InlineData("/sign-in")]
    public async Task A_form_without_its_token_does_nothing(string action)
    {
        var id = await (await service.AddSiteAsync()).RaiseAsync();
        using var browser = await SignedInAsync(service.Key);
        using var answer = await browser.SendAsync(null, action.Replace("{id}", id, StringComparison.Ordinal), ("key", service.Key));
        Assert.Equal(HttpStatusCode.BadRequest, answer.StatusCode);
        Assert.Equal(("unacknowledged", null), await StateAsync(id));
        Assert.Contains("Sign out", await browser.OpenAsync(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_stranger_acknowledges_nothing_nor_does_a_key_of_another_site()
    {
        var id = await (await service.AddSiteAsync()).RaiseAsync();
        using var stranger = new Browser(service.Url);
        using var refused = await stranger.SendAsync(await stranger.OpenDoorAsync(), $"/alerts/{id}/acknowledge");
        Assert.Equal(HttpStatusCode.Unauthorized, refused.StatusCode);

        using var other = await SignedInAsync(service.AddKey("elsewhere", (await service.AddSiteAsync()).Id));
        using var hidden = await other.SendAsync(await other.OpenAsync(), $"/alerts/{id}/acknowledge");
        Assert.Equal(HttpStatusCode.NotFound, hidden.StatusCode);
        Assert.Equal(("unacknowledged", null), await StateAsync(id));
    }

    [Theory]
    [InlineData("/")]
    [InlineData("/no-such-page")]
    [InlineData("/api/v1/sites")]
    public async Task Every_answer_forbids_frames_and_what_is_not_ours(string path)
    {
        var answer = await service.SendAsync("GET", path, null);
        var policy = Assert.Single(answer.Headers.GetValues("Content-Security-Policy"));
        Assert.StartsWith("default-src 'self';", policy, StringComparison.Ordinal);
        Assert.Contains("frame-ancestors 'none'", policy, StringComparison.Ordinal);
        Assert.DoesNotContain("unsafe", policy, StringComparison.Ordinal);
        Assert.Equal("nosniff", Assert.Single(answer.Headers.GetValues("X-Content-Type-Options")));
    }

    [Fact]
    public async Task The_demonstration_needs_no_login_and_answers_to_names_of_this_machine_alone()
    {
        var demo = await Served.AsDemoAsync();
        try
        {
            var site = await demo.AddSiteAsync("Rowan Row");
            using var browser = new Browser(demo.Url);
            var page = await browser.OpenAsync();
            Assert.Contains("Rowan Row", page, StringComparison.Ordinal);
            Assert.Contains("href=\"/mails\"", page, StringComparison.Ordinal);
            Assert.DoesNotContain("Sign out", page, StringComparison.Ordinal);
            var id = await site.RaiseAsync();
            using var answer = await browser.SendAsync(await browser.OpenAsync(), $"/alerts/{id}/acknowledge");
            Assert.Equal(HttpStatusCode.Redirect, answer.StatusCode);
            Assert.Equal(HttpStatusCode.OK, (await demo.SendAsync("GET", $"/api/v1/alerts/{id}", null)).Status);

            using var client = new HttpClient { DefaultRequestHeaders = { Host = "rebound.example" } };
            using var rebound = await client.GetAsync(demo.Url, TestContext.Current.CancellationToken);
            Assert.Equal(HttpStatusCode.BadRequest, rebound.StatusCode);
        }
        finally
        {
            await demo.DisposeAsync();
        }
    }

    private Task<Browser> SignedInAsync(string key) => Browser.SignedInAsync(service.Url, key);

    private async Task<(string?, string?)> StateAsync(string id)
    {
        var alert = await service.GetJsonAsync($"/api/v1/alerts/{id}");
        return (alert.GetProperty("state").GetString(), alert.GetProperty("acknowledgedBy").GetString());
    }
}
