using Microsoft.Playwright;
using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;
using static Microsoft.Playwright.Assertions;

namespace TankWatch.Browser.Tests.Reading;

public sealed class KeyboardTests(Chromium chromium)
{
    private const int MostTabs = 40;

    [Fact]
    public async Task An_alert_is_acknowledged_by_keyboard_alone_and_the_focus_can_be_seen_at_every_step()
    {
        await using var building = await ServedBuilding.StartAsync();
        var alert = await building.FailPowerAsync();
        await chromium.VisitAsync(building.Service.Url + "/", Look.Desk, async visit =>
        {
            var keys = visit.Page.Keyboard;
            await TabToAsync(visit.Page, "#key");
            await keys.TypeAsync(building.Key);
            await keys.PressAsync("Enter");
            await Expect(visit.Page.Locator("h1")).ToContainTextAsync("hand");

            await TabToAsync(visit.Page, "summary");
            await keys.PressAsync("Enter");
            await TabToAsync(visit.Page, "input[name=note]");
            await keys.TypeAsync("The fuse is out; an electrician comes at noon.");
            await TabToAsync(visit.Page, "form button");
            await keys.PressAsync("Enter");
            await Expect(visit.Page.Locator("main")).ToContainTextAsync("Acknowledged by office");

            await TabToAsync(visit.Page, $"a[href='/alerts/{alert}']");
            await keys.PressAsync("Enter");
            await Expect(visit.Page.Locator("#history")).ToContainTextAsync("an electrician comes at noon");
        });
    }

    /// <summary>Tab by Tab, as far as it takes; each stop must show that it is one.</summary>
    private static async Task TabToAsync(IPage page, string selector)
    {
        for (var tab = 0; tab < MostTabs; tab++)
        {
            await page.Keyboard.PressAsync("Tab");
            var unseen = await page.EvaluateAsync<string?>(
                """
                () => {
                  const at = document.activeElement, box = at.getBoundingClientRect(), style = getComputedStyle(at);
                  if (at === document.body) return null;
                  const inView = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth;
                  const ring = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
                  return inView && ring ? null : at.outerHTML.slice(0, 120);
                }
                """);
            Assert.True(unseen is null, $"The focus cannot be seen on {unseen}");
            if (await page.EvaluateAsync<bool>("selector => document.activeElement.matches(selector)", selector))
            {
                return;
            }
        }

        Assert.Fail($"No Tab of {MostTabs} came to {selector}.");
    }
}
