using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;

namespace TankWatch.Browser.Tests.Accessibility;

public sealed class FitTests(Chromium chromium, SharedDemo demo)
{
    public static TheoryData<string> Pages => [.. KnownPages.Names];

    /// <summary>WCAG 2.2, 1.4.10 and 1.4.4.</summary>
    [Theory]
    [MemberData(nameof(Pages))]
    public async Task A_page_fits_320_pixels_either_way_round_and_a_phone_with_letters_twice_as_big(string page)
    {
        var service = await demo.ServiceAsync;
        var address = service.Url + await service.AddressAsync(page);
        var faults = new List<string>();
        foreach (var narrow in (Look[])[Look.Narrow, Look.Narrow with { RightToLeft = true }])
        {
            await chromium.VisitAsync(address, narrow.For(page), async visit =>
            {
                faults.AddRange((await visit.Page.FitFaultsAsync()).Select(fault => $"{narrow}: {fault}"));
                if (!narrow.RightToLeft)
                {
                    await visit.LookAsync(Look.Phone);
                    await visit.Page.EvaluateAsync("() => { document.documentElement.style.fontSize = '200%'; }");
                    faults.AddRange((await visit.Page.FitFaultsAsync()).Select(fault => $"{Look.Phone} twice as big: {fault}"));
                }
            });
        }

        Assert.True(faults.Count == 0, string.Join('\n', faults.Prepend(page)));
    }

    [Theory]
    [MemberData(nameof(Pages))]
    public async Task A_page_opens_with_forced_colours_and_without_movement(string page)
    {
        var service = await demo.ServiceAsync;
        await chromium.VisitAsync(
            service.Url + await service.AddressAsync(page), (Look.Phone with { ForcedColors = true, ReducedMotion = true }).For(page),
            async visit => Assert.Empty(await visit.Page.FitFaultsAsync()));
    }
}
