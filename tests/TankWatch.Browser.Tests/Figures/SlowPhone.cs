using Microsoft.Playwright;
using TankWatch.Browser.Tests.Browsing;

namespace TankWatch.Browser.Tests.Figures;

/// <summary>A cheap phone on a slow network, as the developer tools of Chromium imitate one: their preset "Slow 4G" and a processor four times slower.</summary>
internal static class SlowPhone
{
    /// <summary>Milliseconds from the request to the largest thing painted in the first screen, in a fresh profile.</summary>
    public static async Task<double> LargestPaintAsync(Chromium chromium, string address)
    {
        var painted = 0.0;
        await chromium.VisitAsync(null, Look.Phone, async visit =>
        {
            var session = await visit.Page.Context.NewCDPSessionAsync(visit.Page);
            await session.SendAsync("Network.enable");
            await session.SendAsync("Network.setCacheDisabled", new() { ["cacheDisabled"] = true });
            await session.SendAsync("Network.emulateNetworkConditions", new()
            {
                ["offline"] = false, ["latency"] = 150 * 3.75, ["downloadThroughput"] = 1.6e6 * .9 / 8, ["uploadThroughput"] = .75e6 * .9 / 8,
            });
            await session.SendAsync("Emulation.setCPUThrottlingRate", new() { ["rate"] = 4 });
            await visit.Page.AddInitScriptAsync(
                "new PerformanceObserver(all => { window.largest = all.getEntries().at(-1).startTime; }).observe({ type: 'largest-contentful-paint', buffered: true })");
            await visit.Page.GotoAsync(address, new() { WaitUntil = WaitUntilState.Load, Timeout = 60_000 });
            await visit.Page.EvaluateAsync("() => document.fonts.ready.then(() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done()))))");
            painted = await visit.Page.EvaluateAsync<double>("() => window.largest");
        });
        return painted;
    }
}
