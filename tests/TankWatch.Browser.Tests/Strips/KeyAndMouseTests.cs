using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;
using static Microsoft.Playwright.Assertions;

namespace TankWatch.Browser.Tests.Strips;

public sealed class KeyAndMouseTests(Chromium chromium, SharedDemo demo)
{
    [Fact]
    public Task Arrow_keys_read_the_strip_and_Home_goes_to_its_beginning() => OnStripAsync(async (strip, visit) =>
    {
        await strip.Figure.FocusAsync();
        await visit.Page.Keyboard.PressAsync("ArrowLeft");
        await Expect(strip.Reading).ToContainTextAsync("litres");
        var first = await strip.Reading.TextContentAsync();
        await visit.Page.Keyboard.PressAsync("ArrowLeft");
        await Expect(strip.Reading).Not.ToHaveTextAsync(first!);
        await visit.Page.Keyboard.PressAsync("Home");
        var begins = (await strip.ShownAsync()).From;
        var zone = TimeZoneInfo.FindSystemTimeZoneById((await strip.Figure.GetAttributeAsync("data-zone"))!);
        await Expect(strip.Reading).ToContainTextAsync(TimeZoneInfo.ConvertTime(begins, zone).ToString("HH:mm", System.Globalization.CultureInfo.InvariantCulture));
    });

    [Fact]
    public Task Page_Up_goes_earlier_and_plus_and_minus_go_closer_and_wider() => OnStripAsync(async (strip, visit) =>
    {
        var before = await strip.ShownAsync();
        await strip.Figure.FocusAsync();
        await visit.Page.Keyboard.PressAsync("PageUp");
        var earlier = await strip.ShownOnceAsync(shown => shown.After(before) < -.2, "an earlier time");
        await visit.Page.Keyboard.PressAsync("PageDown");
        await strip.ShownOnceAsync(shown => shown.After(earlier) > .2, "a later time");
        await visit.Page.Keyboard.PressAsync("+");
        var closer = await strip.ShownOnceAsync(shown => shown.Length < before.Length * .8, "less time");
        await visit.Page.Keyboard.PressAsync("-");
        await strip.ShownOnceAsync(shown => shown.Length > closer.Length * 1.2, "more time");
        await Expect(strip.Figure).ToBeFocusedAsync();
    });

    [Fact]
    public Task A_mouse_drags_the_strip_and_with_Ctrl_its_wheel_goes_closer() => OnStripAsync(async (strip, visit) =>
    {
        var (place, before) = (await strip.PlaceAsync(), await strip.ShownAsync());
        await visit.Page.Mouse.MoveAsync((float)place(.3, .5).X, (float)place(.3, .5).Y);
        await visit.Page.Mouse.DownAsync();
        await visit.Page.Mouse.MoveAsync((float)place(.7, .5).X, (float)place(.7, .5).Y, new() { Steps = 8 });
        await visit.Page.Mouse.UpAsync();
        await strip.ShownOnceAsync(shown => shown.After(before) is > -.45 and < -.3, "an earlier time");
        await visit.Page.Keyboard.DownAsync("Control");
        await visit.Page.Mouse.WheelAsync(0, -200);
        await visit.Page.Keyboard.UpAsync("Control");
        await strip.ShownOnceAsync(shown => shown.Length < before.Length * .8, "less time");
    });

    private async Task OnStripAsync(Func<StripOnPage, Visit, Task> act)
    {
        var service = await demo.ServiceAsync;
        await chromium.VisitAsync(service.Url + StripOnPage.Address("/sites/finch-mews"), Look.Desk, async visit => await act(new StripOnPage(visit.Page), visit));
    }
}
