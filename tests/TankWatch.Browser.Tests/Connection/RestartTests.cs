using Microsoft.Playwright;
using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;
using static Microsoft.Playwright.Assertions;

namespace TankWatch.Browser.Tests.Connection;

[Collection(Alone.Name)]
public sealed class RestartTests(Chromium chromium)
{
    private const string Note = "The fuse is out";
    private static readonly LocatorAssertionsToHaveTextOptions Reunion = new() { Timeout = Patience.ReunionMilliseconds };

    [Fact]
    public async Task A_page_kept_open_through_a_restart_says_how_old_it_is_and_is_right_again_by_itself()
    {
        await using var building = await ServedBuilding.StartAsync();
        await building.FailPowerAsync();
        await VisitAsync(building, async page =>
        {
            await MarkAsync(page);
            await page.Locator(".hand summary").ClickAsync();
            await page.Locator(".hand input[name=note]").FillAsync(Note);
            var water = await WaterAsync(page);

            await building.Service.KillAsync();
            await Expect(page.Locator("#connection")).ToContainTextAsync("seconds ago", new() { Timeout = Patience.ReunionMilliseconds });
            Assert.Equal(water, await WaterAsync(page)); // What was known stays readable.

            await building.Service.ServeAgainAsync();
            await building.TellRoofAsync("100");
            await Expect(page.Locator("#connection")).ToHaveTextAsync("", Reunion);
            await Expect(Water(page)).Not.ToHaveTextAsync(water, Reunion);
            await Expect(page.Locator(".hand input[name=note]")).ToHaveValueAsync(Note);
            await Expect(page.Locator(".hand input[name=note]")).ToBeVisibleAsync();
            await IsTheSamePageAsync(page);
        });
    }

    [Fact]
    public async Task A_page_of_a_night_before_is_right_in_the_morning()
    {
        await using var building = await ServedBuilding.StartAsync();
        await building.FailPowerAsync();
        await VisitAsync(building, async page =>
        {
            await page.Clock.InstallAsync(); // From here on its clock can be put forward, as that of a laptop that slept.
            await page.ReloadAsync();
            await MarkAsync(page);
            var water = await WaterAsync(page);
            await page.Context.SetOfflineAsync(true);
            await Expect(page.Locator("#connection")).ToContainTextAsync("ago", new() { Timeout = Patience.ReunionMilliseconds });
            await page.Clock.FastForwardAsync("08:00:00");
            await Expect(page.Locator("#connection")).ToContainTextAsync("8 hours ago", new() { Timeout = Patience.ReunionMilliseconds });

            await building.TellRoofAsync("100");
            await page.Context.SetOfflineAsync(false);
            await Expect(page.Locator("#connection")).ToHaveTextAsync("", Reunion);
            await Expect(Water(page)).Not.ToHaveTextAsync(water, Reunion);
            await IsTheSamePageAsync(page);
        });
    }

    [Fact]
    public async Task A_message_is_on_an_open_page_within_a_second()
    {
        await using var building = await ServedBuilding.StartAsync();
        await building.FailPowerAsync();
        await VisitAsync(building, async page =>
        {
            var watch = new MessageWatch(building, page);
            await watch.MeasureAsync("100"); // The first one warms up what has never run.
            var took = await watch.MeasureAsync("110");
            Assert.True(took < TimeSpan.FromSeconds(1), $"It took {took.TotalMilliseconds:0} ms.");
        });
    }

    private Task VisitAsync(ServedBuilding building, Func<IPage, Task> read) =>
        chromium.VisitAsync(building.Service.Url + "/", Look.Phone with { Expected = Network.IsSilence }, async visit =>
        {
            await building.SignInAsync(visit);
            await read(visit.Page);
        });

    private static ILocator Water(IPage page) => page.Locator($"#b-{ServedBuilding.Id}").GetByText("roof").First;

    private static Task<string> WaterAsync(IPage page) => Water(page).InnerTextAsync();

    /// <summary>A reload would lose it.</summary>
    private static async Task MarkAsync(IPage page) => await page.EvaluateAsync("() => { window.kept = true; }");

    private static async Task IsTheSamePageAsync(IPage page) => Assert.True(await page.EvaluateAsync<bool>("() => window.kept === true"), "The page was loaded anew.");
}
