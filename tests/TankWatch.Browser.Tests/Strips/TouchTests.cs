using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;
using static Microsoft.Playwright.Assertions;

namespace TankWatch.Browser.Tests.Strips;

public sealed class TouchTests(Chromium chromium, SharedDemo demo)
{
    [Fact]
    public Task A_finger_drawn_to_the_right_pulls_earlier_hours_into_the_strip() => OnStripAsync(Look.Phone, async (strip, fingers, _) =>
    {
        var (place, before) = (await strip.PlaceAsync(), await strip.ShownAsync());
        await fingers.MoveAsync([place(.3, .5)], [place(.7, .5)]);
        var after = await strip.ShownOnceAsync(shown => shown.After(before) < -.3, "an earlier time");
        Assert.InRange(after.After(before), -.45, -.3); // As far as the finger went, but for what tells a drag from a tap.
        Assert.Equal(before.Length.TotalSeconds, after.Length.TotalSeconds, 2.0);
    });

    [Fact]
    public Task From_right_to_left_a_finger_drawn_to_the_left_pulls_earlier_hours_into_the_strip() =>
        OnStripAsync(Look.Phone with { RightToLeft = true }, async (strip, fingers, _) =>
        {
            var (place, before) = (await strip.PlaceAsync(), await strip.ShownAsync());
            await fingers.MoveAsync([place(.7, .5)], [place(.3, .5)]);
            await strip.ShownOnceAsync(shown => shown.After(before) is > -.45 and < -.3, "an earlier time");
        });

    [Fact]
    public Task Two_fingers_drawn_apart_show_less_time_and_drawn_together_more() => OnStripAsync(Look.Phone, async (strip, fingers, _) =>
    {
        var (place, before) = (await strip.PlaceAsync(), await strip.ShownAsync());
        await fingers.MoveAsync([place(.4, .5), place(.6, .5)], [place(.2, .5), place(.8, .5)]);
        var closer = await strip.ShownOnceAsync(shown => shown.Length < before.Length * .5, "less time");
        Assert.InRange(closer.From, before.From, before.To); // Closer to what was there.
        Assert.InRange(closer.To, before.From, before.To);
        place = await strip.PlaceAsync();
        await fingers.MoveAsync([place(.2, .5), place(.8, .5)], [place(.4, .5), place(.6, .5)]);
        await strip.ShownOnceAsync(shown => shown.Length > closer.Length * 1.8, "more time");
    });

    [Fact]
    public Task A_tap_says_what_was_there_and_moves_nothing() => OnStripAsync(Look.Phone, async (strip, fingers, _) =>
    {
        var (place, before) = (await strip.PlaceAsync(), await strip.ShownAsync());
        await Expect(strip.Reading).ToBeEmptyAsync();
        await fingers.TapAsync(place(.3, .5));
        await Expect(strip.Reading).ToContainTextAsync("litres");
        var first = await strip.Reading.TextContentAsync();
        await fingers.TapAsync(place(.8, .5));
        await Expect(strip.Reading).Not.ToHaveTextAsync(first!);
        Assert.Equal(before, await strip.ShownAsync());
    });

    [Fact]
    public Task A_finger_drawn_up_over_the_strip_scrolls_the_page() => OnStripAsync(Look.Phone, async (strip, fingers, visit) =>
    {
        var (place, before) = (await strip.PlaceAsync(), await strip.ShownAsync());
        var scrolled = await visit.Page.EvaluateAsync<double>("() => scrollY");
        await fingers.MoveAsync([place(.5, .9)], [new(place(.5, .9).X, place(.5, .9).Y - 200)]);
        await visit.Page.WaitForFunctionAsync("before => scrollY > before + 100", scrolled);
        Assert.Equal(before, await strip.ShownAsync());
    });

    private async Task OnStripAsync(Look look, Func<StripOnPage, Fingers, Visit, Task> act)
    {
        var service = await demo.ServiceAsync;
        await chromium.VisitAsync(service.Url + StripOnPage.Address("/sites/finch-mews"), look, async visit =>
            await act(new StripOnPage(visit.Page), await Fingers.OnAsync(visit.Page), visit));
    }
}
