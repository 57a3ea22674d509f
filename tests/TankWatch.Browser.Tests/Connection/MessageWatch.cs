using Microsoft.Playwright;
using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;

namespace TankWatch.Browser.Tests.Connection;

/// <summary>How long a message takes from the unit to the words on an open page of all buildings.</summary>
internal sealed class MessageWatch(ServedBuilding building, IPage page)
{
    private const string Words = $"#b-{ServedBuilding.Id}";

    /// <summary>Publishes the roof's probes, and waits until the page says something else of them.</summary>
    /// <param name="wet">Not what they were.</param>
    public async Task<TimeSpan> MeasureAsync(string wet)
    {
        // The page notes the moment by itself: asking it again and again would slow down what is measured.
        await page.EvaluateAsync(
            """
            words => {
              const roof = () => [...document.querySelectorAll(words + ' p')].find(p => /roof/i.test(p.textContent)).textContent;
              const before = roof();
              window.changed = new Promise(done => new MutationObserver((_, watch) => {
                if (roof() === before) return;
                watch.disconnect();
                done(performance.timeOrigin + performance.now());
              }).observe(document.querySelector('main'), { subtree: true, childList: true, characterData: true }));
            }
            """, Words);
        var sent = TimeProvider.System.GetUtcNow();
        await building.TellRoofAsync(wet);
        var seen = page.EvaluateAsync<double>("() => window.changed");
        var at = await seen.WaitAsync(TimeSpan.FromMilliseconds(Patience.PageMilliseconds)).ConfigureAwait(false);
        return DateTimeOffset.UnixEpoch.AddMilliseconds(at) - sent;
    }
}
