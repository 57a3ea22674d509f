using Microsoft.Playwright;
using TankWatch.Browser.Tests.Accessibility;
using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;
using static Microsoft.Playwright.Assertions;

namespace TankWatch.Browser.Tests.Notifications;

/// <summary>A device shows alerts: the page that subscribes it, and the worker that shows them, in the browser itself.</summary>
public sealed class NotificationTests(Chromium chromium, SharedDemo demo)
{
    private const string Caretaker = "caretaker@example.org";
    private const string Off = "#device form", On = "#device [data-state=on]";

    private async Task HoldAsync(Look look, Func<Phone, ServedBuilding, PushService, Task> test)
    {
        await using var building = await ServedBuilding.StartAsync();
        await using var pushService = await PushService.StartAsync();
        await chromium.VisitAsync(null, look, async visit =>
        {
            var phone = await Phone.HeldAsync(visit, building.Service.Url, pushService);
            await visit.OpenAsync(building.Service.Url + "/");
            await building.SignInAsync(visit);
            await test(phone, building, pushService);
        });
    }

    [Fact]
    public async Task One_subscribes_a_device_tries_it_and_stops_it() => await HoldAsync(Look.Phone, async (phone, _, pushService) =>
    {
        var page = phone.Page;
        await phone.SubscribeAsync(Caretaker);
        await Expect(page.Locator(On)).ToBeVisibleAsync();
        await Expect(page.Locator(Off)).ToBeHiddenAsync();
        var row = page.Locator("#devices li");
        await Expect(row.Locator("h3")).ToHaveTextAsync("Her phone, for caretaker@example.org (this device)");
        await Expect(row).ToContainTextAsync("It has shown none yet.");

        await page.GetByRole(AriaRole.Button, new() { Name = "Send a trial notice" }).ClickAsync();
        await Expect(page.GetByRole(AriaRole.Status).Last).ToHaveTextAsync("A trial notice is on its way to Her phone.");
        await phone.DeliverAsync(await pushService.TakeAsync());
        Assert.Equal(["TankWatch: a trial notice | Alerts for caretaker@example.org are shown here. | en | goes"], await phone.NoticesAsync());
        await Expect(row).ToContainTextAsync("Last showed a notice"); // By the worker's receipt; the page looks again by itself.
        Assert.Equal("/notifications", await phone.TapAsync());

        await page.GetByRole(AriaRole.Button, new() { Name = "Stop alerts on it" }).ClickAsync();
        await Expect(page.Locator(Off)).ToBeVisibleAsync();
        await Expect(row).ToHaveCountAsync(0);
        Assert.Equal(0, await page.EvaluateAsync<int>("() => localStorage.length")); // The browser has given its subscription back.
    });

    [Fact]
    public async Task An_alert_comes_to_the_screen_says_so_leads_to_its_page_or_the_link_of_its_mail_and_is_acknowledged_there() => await HoldAsync(Look.Phone, async (phone, building, pushService) =>
    {
        await phone.SubscribeAsync(Caretaker);
        await Expect(phone.Page.Locator(On)).ToBeVisibleAsync();
        var alert = await building.FailPowerAsync();
        var message = await pushService.TakeAsync(Patience.CatchUp);
        await phone.DeliverAsync(message);
        var notice = Assert.Single(await phone.NoticesAsync()).Split(" | ");
        Assert.Equal(("Alder Row: Power cut, fu-0017", "en", "I know of it"), (notice[0], notice[2], notice[^1]));
        Assert.EndsWith("\nThe mains are off at Alder Row; no pump can run there.", notice[1], StringComparison.Ordinal);
        await Expect(phone.Page.Locator("#devices li")).ToContainTextAsync("Last showed a notice");

        Assert.Equal($"/alerts/{alert}", await phone.TapAsync());
        await phone.DeliverAsync(message);
        await phone.NoticesAsync();
        await phone.Page.GetByRole(AriaRole.Button, new() { Name = "Sign out" }).ClickAsync();
        var link = await phone.TapAsync();
        Assert.StartsWith("/a/", link, StringComparison.Ordinal);
        await phone.Page.GotoAsync(building.Service.Url + link);
        await Expect(phone.Page.GetByRole(AriaRole.Button, new() { Name = "I know of it" })).ToBeVisibleAsync();

        await phone.DeliverAsync(message);
        await phone.NoticesAsync();
        await phone.AcknowledgeAsync();
        await Eventually.Comes(
            () => building.Service.GetJsonAsync($"/api/v1/alerts/{alert}", building.Key), told => told.GetProperty("acknowledgedBy").GetString() == "Caretaker", "that she knows of it");
    });

    [Fact]
    public async Task An_address_of_nobody_that_one_sees_is_refused_in_words() => await HoldAsync(Look.Desk with { Expected = Network.IsStatus }, async (phone, _, _) =>
    {
        await phone.SubscribeAsync("stranger@example.org");
        await Expect(phone.Page.GetByRole(AriaRole.Alert)).ToHaveTextAsync("No building that you see has a contact with this address.");
        await Expect(phone.Page.Locator(Off)).ToBeVisibleAsync();
        Assert.Equal(0, await phone.Page.EvaluateAsync<int>("() => localStorage.length"));
        await phone.SubscribeAsync(Caretaker);
        await Expect(phone.Page.Locator(On)).ToBeVisibleAsync();
    });

    [Fact]
    public async Task A_device_that_another_one_has_stopped_can_be_subscribed_again() => await HoldAsync(Look.Phone, async (phone, building, _) =>
    {
        await phone.SubscribeAsync(Caretaker);
        await Expect(phone.Page.Locator(On)).ToBeVisibleAsync();
        var id = await phone.Page.Locator("#devices li").GetAttributeAsync("data-device");
        await building.Service.DeleteAsync($"/api/v1/push/subscriptions/{id}", building.Key);
        await phone.SubscribeAsync(Caretaker);
        await Expect(phone.Page.Locator(On)).ToBeVisibleAsync();
    });

    [Fact]
    public async Task The_page_with_a_device_fits_and_has_no_fault_that_axe_knows() => await HoldAsync(Look.Phone, async (phone, _, _) =>
    {
        var faults = new List<string>();
        await phone.SubscribeAsync(Caretaker);
        await Expect(phone.Page.Locator(On)).ToBeVisibleAsync();
        foreach (var part in (string[])["as it is", "to subscribe"])
        {
            await phone.Page.EvaluateAsync("part => { if (part !== 'as it is') document.querySelector('#device form').hidden = false; }", part);
            foreach (var look in Look.Usual.Append(Look.Narrow))
            {
                await phone.LookAsync(look);
                faults.AddRange((await phone.Page.AxeFaultsAsync()).Concat(await phone.Page.FitFaultsAsync()).Select(fault => $"{look}, {part}: {fault}"));
            }
        }

        Assert.True(faults.Count == 0, string.Join('\n', faults));
    });

    [Theory]
    [InlineData("delete window.PushManager", "This browser cannot show alerts here.")]
    [InlineData("Object.defineProperty(Notification, 'permission', { get: () => 'denied' })", "This browser does not allow notifications here.")]
    [InlineData("Object.defineProperty(window, 'isSecureContext', { get: () => false })", "A browser shows notifications only for an address that begins with https.")]
    public async Task What_a_browser_lacks_is_said(string script, string sentence)
    {
        var service = await demo.ServiceAsync;
        await chromium.VisitAsync(null, Look.Phone, async visit =>
        {
            await visit.Page.Context.AddInitScriptAsync(script);
            await visit.OpenAsync(service.Url + "/notifications");
            await Expect(visit.Page.Locator("#device p:visible")).ToContainTextAsync(sentence);
            await Expect(visit.Page.Locator(Off)).ToBeHiddenAsync();
        });
    }

    [Fact]
    public async Task Without_script_the_page_says_that_it_is_needed()
    {
        var service = await demo.ServiceAsync;
        await chromium.VisitAsync(service.Url + "/notifications", Look.Phone with { Script = false }, async visit =>
        {
            await Expect(visit.Page.Locator("#device p:visible")).ToContainTextAsync("needs JavaScript");
            await Expect(visit.Page.Locator(Off)).ToBeHiddenAsync();
        });
    }
}
