using System.Text.RegularExpressions;
using Microsoft.Playwright;
using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;
using static Microsoft.Playwright.Assertions;

namespace TankWatch.Browser.Tests.Reading;

public sealed class CaretakerTests(Chromium chromium, SharedDemo demo)
{
    [Fact]
    public async Task The_caretakers_look_tells_who_needs_a_hand_and_why_before_anything_is_scrolled_and_leads_to_the_alert()
    {
        var service = await demo.ServiceAsync;
        await Eventually.Comes(() => service.AlertsAsync("state=unacknowledged"), alerts => alerts.Count > 0, "an alert that nobody has acknowledged", Patience.Script);
        await chromium.VisitAsync(service.Url + "/", Look.Phone, async visit =>
        {
            var (page, opening) = (visit.Page, visit.Page.Locator("h1"));
            await InFirstScreenAsync(opening);
            await Expect(opening).ToContainTextAsync("hand");
            var worst = opening.Locator("a[href^='/sites/']");
            var name = await worst.InnerTextAsync();
            Assert.Matches($"{Regex.Escape(name)}[^:]*: .+[.]$", await opening.InnerTextAsync()); // Who, and then why.

            await worst.ClickAsync();
            await Expect(opening).ToContainTextAsync(name);
            await Expect(opening).ToContainTextAsync("hand");
            await InFirstScreenAsync(opening);
            var alert = page.Locator("#alerts .hand a[href^='/alerts/']").First;
            await InFirstScreenAsync(alert);

            var sentence = await alert.InnerTextAsync();
            await alert.ClickAsync();
            await Expect(opening).ToContainTextAsync(sentence);
            await Expect(page.Locator("main")).ToContainTextAsync("What to check first");
        });
    }

    private static async Task InFirstScreenAsync(ILocator what)
    {
        var box = await what.BoundingBoxAsync();
        Assert.True(box is not null && box.Y >= 0 && box.Y + box.Height <= Look.Phone.Height, $"'{await what.InnerTextAsync()}' is at {box?.Y} to {box?.Y + box?.Height}");
    }
}
