using Microsoft.Playwright;
using TankWatch.Browser.Tests.Browsing;
using TankWatch.Browser.Tests.Services;
using Xunit;

namespace TankWatch.Browser.Tests.Figures;

/// <summary>Not a test: makes the pictures of the documentation when asked for by name, as tests/pictures.sh does.</summary>
public sealed class Pictures(Chromium chromium)
{
    private static readonly string[] Pages = ["buildings", "building", "strip", "building-month", "alert", "units", "unit", "mails", "reference", "missing"];

    /// <summary>So many alerts the script of the demonstration raises within its first two minutes, whatever stood open before.</summary>
    private const int Scripted = 3;

    [Fact(Explicit = true)]
    public async Task The_pictures_of_every_page()
    {
        var folder = Environment.GetEnvironmentVariable("PICTURES_FOLDER") ?? throw new InvalidOperationException("PICTURES_FOLDER names no folder.");
        await using var demo = await RunningService.DemoAsync();
        var began = TimeProvider.System.GetUtcNow();
        await Eventually.Comes(
            () => demo.AlertsAsync("limit=50"),
            alerts => alerts.Count(alert => alert.GetProperty("raisedAt").GetDateTimeOffset() > began) >= Scripted, "the alerts of the script", Patience.Script);

        foreach (var page in Pages)
        {
            var address = demo.Url + await demo.AddressAsync(page);
            foreach (var look in page == Pages[0] ? Look.Usual.Append(Look.Phone with { RightToLeft = true }) : Look.Usual)
            {
                await chromium.VisitAsync(address, look.For(page), async visit =>
                {
                    if (page == Pages[0] && visit.Page.GetByRole(AriaRole.Button, new() { Name = "I have seen it" }) is var seen && await seen.CountAsync() > 0)
                    {
                        await visit.Page.ScreenshotAsync(new() { Path = Path.Combine(folder, $"first-look-{look}.png") });
                        await seen.ClickAsync();
                        await Assertions.Expect(seen).ToHaveCountAsync(0);
                        await visit.OpenAsync(address); // The form leads to the page as it is read by default.
                    }

                    await visit.Page.EvaluateAsync("() => document.fonts.ready.then(() => {})");
                    await visit.Page.ScreenshotAsync(new() { Path = Path.Combine(folder, $"{page}-{look}.png") });
                });
            }
        }

        await using var served = await RunningService.ServeAsync();
        foreach (var look in Look.Usual)
        {
            await chromium.VisitAsync(served.Url + "/", look, async visit =>
                await visit.Page.ScreenshotAsync(new() { Path = Path.Combine(folder, $"sign-in-{look}.png") }));
        }
    }
}
