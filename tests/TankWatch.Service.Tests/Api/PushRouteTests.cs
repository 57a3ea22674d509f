using System.Net;
using System.Text.Json;
using TankWatch.Service.Tests.Push;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Webhooks;
using Xunit;

namespace TankWatch.Service.Tests.Api;

public sealed class PushRouteTests(Served service) : IClassFixture<Served>
{
    private const string Subscriptions = "/api/v1/push/subscriptions";

    private static string Json(string endpoint, Browser browser, string email) =>
        JsonSerializer.Serialize(new { endpoint, keys = new { p256dh = browser.P256dh, auth = browser.Auth }, email });

    [Fact]
    public async Task From_a_field_message_to_a_browser_and_its_receipt()
    {
        using var browser = new Browser();
        await using var pushService = await Target.StartAsync(context => context.Response.StatusCode = 201);
        var site = await service.AddSiteAsync();
        Assert.Equal(65, System.Buffers.Text.Base64Url.DecodeFromChars((await service.GetJsonAsync("/api/v1/push/key")).GetProperty("publicKey").GetString()).Length);
        var added = await service.SendAsync("POST", Subscriptions, service.Key, Json(pushService.Url, browser, "caretaker@example.org"));
        Assert.Equal(HttpStatusCode.Created, added.Status);
        var alert = await site.RaiseAsync();
        await Eventually.Holds(() => pushService.Requests.Any(request => browser.Open(request.Bytes).Contains(alert, StringComparison.Ordinal)), "the alert in the browser");
        var shown = pushService.Requests.Select(request => JsonSerializer.Deserialize<JsonElement>(browser.Open(request.Bytes))).First(seen => seen.GetProperty("tag").GetString() == alert);
        var receipt = shown.GetProperty("receipt").GetString()!;
        Assert.Equal(HttpStatusCode.NoContent, (await service.SendAsync("POST", receipt, null)).Status); // Signed in or not.
        Assert.Equal(HttpStatusCode.NotFound, (await service.SendAsync("POST", receipt + "x", null)).Status);
        Assert.NotNull(service.Ledger.ListLettersOf(alert)[0].SentAt);
        var others = (await service.AddSiteAsync()).Id;
        (await service.SendAsync("DELETE", $"{Subscriptions}/{added.Json.GetProperty("id").GetString()}", service.AddKey("other-site", others))).IsProblem(HttpStatusCode.NotFound);
        Assert.Equal(HttpStatusCode.NoContent, (await service.SendAsync("DELETE", $"{Subscriptions}/{added.Json.GetProperty("id").GetString()}", service.Key)).Status);
        (await service.SendAsync("DELETE", $"{Subscriptions}/{added.Json.GetProperty("id").GetString()}", service.Key)).IsProblem(HttpStatusCode.NotFound);
    }

    [Fact]
    public async Task A_key_of_one_site_subscribes_for_that_site_and_removes_its_own()
    {
        using var browser = new Browser();
        var site = await service.AddSiteAsync();
        var key = service.AddKey("one-site", site.Id);
        var added = (await service.SendAsync("POST", Subscriptions, key, Json("https://push.example.org/one-site", browser, "Caretaker@example.org"))).Json;
        Assert.Equal((site.Id, "caretaker@example.org", "push.example.org"), (added.GetProperty("site").GetString(), added.GetProperty("email").GetString(), added.GetProperty("name").GetString()));
        Assert.Equal(HttpStatusCode.NoContent, (await service.SendAsync("DELETE", $"{Subscriptions}/{added.GetProperty("id").GetString()}", key)).Status);
    }

    [Fact]
    public async Task A_name_with_controls_is_refused_and_so_are_devices_without_end()
    {
        using var browser = new Browser();
        var site = await service.AddSiteAsync();
        var key = service.AddKey("many-devices", site.Id);
        var named = JsonSerializer.Serialize(new { endpoint = "https://push.example.org/n", keys = new { p256dh = browser.P256dh, auth = browser.Auth }, email = "caretaker@example.org", name = "a\r\nb" });
        (await service.SendAsync("POST", Subscriptions, key, named)).IsProblem(HttpStatusCode.BadRequest);
        for (var i = 0; i < 20; i++)
        {
            Assert.Equal(HttpStatusCode.Created, (await AddAsync(i)).Status);
        }

        (await AddAsync(20)).IsProblem(HttpStatusCode.Conflict);
        Assert.Equal(HttpStatusCode.Created, (await AddAsync(3)).Status); // Known already.

        Task<Answer> AddAsync(int i) => service.SendAsync("POST", Subscriptions, key, Json($"https://push.example.org/many/{i}", browser, "caretaker@example.org"));
    }

    [Theory]
    [InlineData("ftp://push.example.org/x", "caretaker@example.org", "'endpoint' must be an https address.")]
    [InlineData("https://push.example.org/x", "stranger@example.org", "'email' must be the address of a contact of a site that you see.")]
    public async Task A_subscription_that_cannot_be_is_refused(string endpoint, string email, string problem)
    {
        using var browser = new Browser();
        await service.AddSiteAsync();
        var answer = await service.SendAsync("POST", Subscriptions, service.Key, Json(endpoint, browser, email));
        answer.IsProblem(HttpStatusCode.BadRequest);
        Assert.Contains(problem, answer.Text.Replace("\\u0027", "'", StringComparison.Ordinal), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Keys_of_another_length_are_refused_and_strangers_are_turned_away()
    {
        await service.AddSiteAsync();
        var odd = JsonSerializer.Serialize(new { endpoint = "https://push.example.org/x", keys = new { p256dh = "AAAA", auth = "AAAA" }, email = "caretaker@example.org" });
        (await service.SendAsync("POST", Subscriptions, service.Key, odd)).IsProblem(HttpStatusCode.BadRequest);
        (await service.SendAsync("POST", Subscriptions, null, odd)).IsProblem(HttpStatusCode.Unauthorized);
        Assert.StartsWith("text/javascript", (await service.SendAsync("GET", "/sw.js", null)).MediaType, StringComparison.Ordinal);
    }
}
