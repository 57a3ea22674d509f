using System.Net;
using System.Text.Json;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Webhooks;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

/// <summary>The devices that show alerts, without the script: what only a browser can do is tested in one.</summary>
public sealed class NotificationsPageTests(Served service) : IClassFixture<Served>
{
    private const string Address = "/notifications";

    private static int devices;

    /// <returns>The id of the subscription.</returns>
    private async Task<string> SubscribeAsync(Push.Browser browser, string endpoint, string key, string name)
    {
        var body = JsonSerializer.Serialize(new
        {
            endpoint = $"{endpoint}/{Interlocked.Increment(ref devices)}", keys = new { p256dh = browser.P256dh, auth = browser.Auth }, email = "caretaker@example.org", name,
        });
        var added = await service.SendAsync("POST", "/api/v1/push/subscriptions", key, body);
        Assert.True(added.Status == HttpStatusCode.Created, added.Text);
        return added.Json.GetProperty("id").GetString()!;
    }

    [Fact]
    public async Task A_trial_notice_goes_out_from_the_page_and_its_receipt_is_told_there()
    {
        using var phone = new Push.Browser();
        await using var pushService = await Target.StartAsync(context => context.Response.StatusCode = 201);
        await service.AddSiteAsync();
        var id = await SubscribeAsync(phone, pushService.Url, service.Key, "her <phone>");
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        var page = await browser.OpenAsync(Address);
        Assert.Contains("<bdi>her &lt;phone&gt;</bdi>, for <bdi>caretaker@example.org</bdi>", page, StringComparison.Ordinal);
        Assert.Contains("It has shown none yet.", RowOf(id, page), StringComparison.Ordinal);
        Assert.DoesNotContain(pushService.Url, page, StringComparison.Ordinal); // Whoever knows an endpoint may send to it.

        using (var answer = await browser.SendAsync(page, $"{Address}/{id}/try"))
        {
            Assert.Equal($"{Address}?tried={id}", answer.Headers.Location?.OriginalString);
        }

        Assert.Contains("A trial notice is on its way to <bdi>her &lt;phone&gt;</bdi>.", await browser.OpenAsync($"{Address}?tried={id}"), StringComparison.Ordinal);
        var shown = JsonSerializer.Deserialize<JsonElement>(phone.Open(Assert.Single(pushService.Requests).Bytes));
        Assert.Equal(("TankWatch: a trial notice", "Alerts for caretaker@example.org are shown here.", Address),
            (shown.GetProperty("title").GetString(), shown.GetProperty("body").GetString(), shown.GetProperty("address").GetString()));
        Assert.Equal(HttpStatusCode.NoContent, (await service.SendAsync("POST", shown.GetProperty("receipt").GetString()!, null)).Status);
        Assert.Contains("Last showed a notice <time", RowOf(id, await browser.OpenAsync(Address)), StringComparison.Ordinal);

        (await browser.SendAsync(page, $"{Address}/{id}/remove")).Dispose();
        Assert.DoesNotContain(id, await browser.OpenAsync(Address), StringComparison.Ordinal);
        Assert.Equal(HttpStatusCode.NotFound, (await service.SendAsync("POST", shown.GetProperty("receipt").GetString()!, null)).Status);
        using var again = await browser.SendAsync(page, $"{Address}/{id}/remove");
        Assert.Equal(HttpStatusCode.NotFound, again.StatusCode);
    }

    [Fact]
    public async Task A_push_service_that_takes_no_trial_is_named_with_why()
    {
        using var phone = new Push.Browser();
        await using var pushService = await Target.StartAsync(context => context.Response.StatusCode = 500);
        await service.AddSiteAsync();
        var id = await SubscribeAsync(phone, pushService.Url, service.Key, "tablet");
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        using var answer = await browser.SendAsync(await browser.OpenAsync(Address), $"{Address}/{id}/try");
        Assert.Equal(HttpStatusCode.BadGateway, answer.StatusCode);
        Assert.Contains("did not get to <bdi>tablet</bdi>: <bdi>the push service answered 500</bdi>", await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_key_of_one_site_sees_tries_and_removes_what_keys_of_that_site_subscribed()
    {
        using var phone = new Push.Browser();
        var (mine, other) = (await service.AddSiteAsync(), await service.AddSiteAsync());
        var key = service.AddKey("mine", mine.Id);
        var own = await SubscribeAsync(phone, "https://push.example.org", key, "mine");
        string[] strange =
        [
            await SubscribeAsync(phone, "https://push.example.org", service.AddKey("theirs", other.Id), "theirs"),
            await SubscribeAsync(phone, "https://push.example.org", service.Key, "everybody's"),
        ];
        using var browser = await Browser.SignedInAsync(service.Url, key);
        var page = await browser.OpenAsync(Address);
        Assert.Contains(own, page, StringComparison.Ordinal);
        foreach (var id in strange)
        {
            Assert.DoesNotContain(id, page, StringComparison.Ordinal);
            foreach (var form in (string[])["try", "remove"])
            {
                using var answer = await browser.SendAsync(page, $"{Address}/{id}/{form}");
                Assert.Equal(HttpStatusCode.NotFound, answer.StatusCode);
            }

            Assert.NotNull(service.Ledger.FindSubscriber(id));
        }
    }

    private static string RowOf(string id, string page)
    {
        var from = page.IndexOf($"data-device=\"{id}\"", StringComparison.Ordinal);
        Assert.True(from >= 0, "the device stands in the list");
        return page[from..page.IndexOf("</li>", from, StringComparison.Ordinal)];
    }
}
