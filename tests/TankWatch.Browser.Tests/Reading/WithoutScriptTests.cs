using Microsoft.Playwright;
using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using TankWatch.Browser.Tests.Strips;
using Xunit;
using static Microsoft.Playwright.Assertions;

namespace TankWatch.Browser.Tests.Reading;

public sealed class WithoutScriptTests(Chromium chromium, SharedDemo demo)
{
    private static readonly Look Scriptless = Look.Phone with { Script = false };

    [Fact]
    public async Task Without_script_one_signs_in_acknowledges_with_a_note_and_signs_out()
    {
        await using var building = await ServedBuilding.StartAsync();
        await building.FailPowerAsync();
        await chromium.VisitAsync(building.Service.Url + "/", Scriptless, async visit =>
        {
            var page = visit.Page;
            await building.SignInAsync(visit);
            await Expect(page.Locator("h1")).ToContainTextAsync("hand");
            await page.Locator(".hand summary").ClickAsync();
            await page.Locator(".hand input[name=note]").FillAsync("Seen from the street: the lift stands too.");
            await page.Locator(".hand form button").ClickAsync();
            await Expect(page.Locator("main")).ToContainTextAsync("Acknowledged by office");
            await page.Locator(".hand a[href^='/alerts/']").ClickAsync();
            await Expect(page.Locator("#history")).ToContainTextAsync("the lift stands too");

            await page.Locator("#add-note [name=note]").FillAsync("It is the whole street.");
            await page.Locator("#add-note button").ClickAsync();
            await Expect(page.Locator("#history")).ToContainTextAsync("the whole street");
            await page.GetByRole(AriaRole.Button, new() { Name = "Sign out" }).ClickAsync();
            await Expect(page.GetByLabel("API key")).ToBeVisibleAsync();
        });
    }

    [Fact]
    public async Task Without_script_one_finds_filters_and_pages_through_the_buildings()
    {
        await using var building = await ServedBuilding.StartAsync();
        await building.AddNeighboursAsync(30);
        await chromium.VisitAsync(building.Service.Url + "/", Scriptless, async visit =>
        {
            var page = visit.Page;
            await building.SignInAsync(visit);
            var first = await page.Locator("article").EvaluateAllAsync<string[]>("all => all.map(one => one.id)");
            await page.Locator("a[rel=next]").ClickAsync();
            var second = await page.Locator("article").EvaluateAllAsync<string[]>("all => all.map(one => one.id)");
            Assert.Equal(31, first.Length + second.Length);
            Assert.Empty(first.Intersect(second));

            await page.Locator("#q").FillAsync("neighbour 17");
            await page.GetByRole(AriaRole.Button, new() { Name = "Find" }).ClickAsync();
            await Expect(page.Locator("article")).ToHaveCountAsync(1);
            await Expect(page.Locator("article h2")).ToHaveTextAsync("Neighbour 17");
        });
    }

    [Fact]
    public async Task Without_script_every_page_is_reached_by_links_and_the_strip_moves()
    {
        var service = await demo.ServiceAsync;
        await chromium.VisitAsync(service.Url + "/", Scriptless, async visit =>
        {
            var page = visit.Page;
            foreach (var choice in await AddressesAsync(page, ".choices a[href*='wrong=']"))
            {
                await visit.OpenAsync(service.Url + choice);
                await Expect(page.Locator("h1")).Not.ToBeEmptyAsync();
            }

            await visit.OpenAsync(service.Url + "/");
            await page.Locator("article h2 a").First.ClickAsync();
            foreach (var view in await AddressesAsync(page, "main .choices a[href*='view='], main .choices a[href*='figures=']"))
            {
                await visit.OpenAsync(service.Url + view);
                await Expect(page.Locator(".strip")).ToBeVisibleAsync();
            }

            await visit.OpenAsync(service.Url + StripOnPage.Address("/sites/finch-mews"));
            await TheStripMovesAsync(page);
            await page.Locator("main a[href^='/alerts/']").First.ClickAsync();
            await TheStripMovesAsync(page);

            foreach (var place in await AddressesAsync(page, "header nav a"))
            {
                await visit.OpenAsync(service.Url + place);
                await Expect(page.Locator("h1")).Not.ToBeEmptyAsync();
            }

            await visit.OpenAsync(service.Url + "/units");
            await page.Locator("main a[href^='/units/']").First.ClickAsync();
            await Expect(page.Locator("#facts")).ToBeVisibleAsync();
            await Eventually.Comes(() => service.HasMailsAsync(), has => has, "a mail", Patience.Script);
            await visit.OpenAsync(service.Url + "/mails");
            await page.Locator("main summary").First.ClickAsync();
            await Expect(page.Locator("main details pre").First).ToBeVisibleAsync();
        });
    }

    private static async Task TheStripMovesAsync(IPage page)
    {
        var strip = new StripOnPage(page);
        var before = await strip.ShownAsync();
        await page.GetByRole(AriaRole.Link, new() { Name = "Earlier" }).ClickAsync();
        var earlier = await strip.ShownOnceAsync(shown => shown.After(before) < -.2, "an earlier time");
        await page.GetByRole(AriaRole.Link, new() { Name = "Later" }).ClickAsync();
        await strip.ShownOnceAsync(shown => shown.After(earlier) > .2, "a later time");
        await page.GetByRole(AriaRole.Link, new() { Name = "Closer" }).ClickAsync();
        var closer = await strip.ShownOnceAsync(shown => shown.Length < before.Length * .8, "less time");
        await page.GetByRole(AriaRole.Link, new() { Name = "Wider" }).ClickAsync();
        await strip.ShownOnceAsync(shown => shown.Length > closer.Length * 1.2, "more time");
    }

    private static Task<string[]> AddressesAsync(IPage page, string links) =>
        page.Locator(links).EvaluateAllAsync<string[]>("all => all.map(one => one.getAttribute('href'))");
}
