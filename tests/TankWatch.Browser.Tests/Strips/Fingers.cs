using Microsoft.Playwright;

namespace TankWatch.Browser.Tests.Strips;

/// <summary>A place on the screen, in CSS pixels.</summary>
internal readonly record struct Spot(double X, double Y);

/// <summary>Fingers on a touch screen, by the browser's own input: it decides as on a phone what scrolls and what the page gets.</summary>
internal sealed class Fingers(ICDPSession session)
{
    private const int Steps = 10;

    public static async Task<Fingers> OnAsync(IPage page) => new(await page.Context.NewCDPSessionAsync(page));

    public Task TapAsync(Spot spot) => MoveAsync([spot], [spot], steps: 0);

    /// <summary>Puts down as many fingers as there are spots, moves all at once, and lifts them.</summary>
    public async Task MoveAsync(Spot[] from, Spot[] to, int steps = Steps)
    {
        await SendAsync("touchStart", from);
        for (var step = 1; step <= steps; step++)
        {
            var share = step / (double)steps;
            await SendAsync("touchMove", [.. from.Zip(to, (a, b) => new Spot(a.X + (share * (b.X - a.X)), a.Y + (share * (b.Y - a.Y))))]);
        }

        await SendAsync("touchEnd", []);
    }

    private async Task SendAsync(string type, Spot[] spots) => await session.SendAsync("Input.dispatchTouchEvent", new Dictionary<string, object>
    {
        ["type"] = type,
        ["touchPoints"] = spots.Select((spot, id) => new Dictionary<string, object> { ["x"] = spot.X, ["y"] = spot.Y, ["id"] = id }).ToArray(),
    });
}
