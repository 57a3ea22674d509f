using System.Globalization;
using Microsoft.Playwright;
using TankWatch.Browser.Tests.Services;

namespace TankWatch.Browser.Tests.Strips;

/// <summary>The time that a strip says it shows.</summary>
internal readonly record struct Shown(DateTimeOffset From, DateTimeOffset To)
{
    public TimeSpan Length => To - From;

    /// <summary>How far it lies after another, in lengths of the other; negative is before.</summary>
    public double After(Shown other) => (From - other.From) / other.Length;
}

/// <summary>The strip of a page, as a reader finds it.</summary>
internal sealed class StripOnPage(IPage page)
{
    public ILocator Figure => page.Locator(".strip");

    public ILocator Lanes => page.Locator(".strip .lanes");

    public ILocator Reading => page.Locator(".strip [role=status]");

    /// <summary>A page whose strip stands still: a day that ended half a day ago.</summary>
    public static string Address(string path)
    {
        var to = TimeProvider.System.GetUtcNow().AddHours(-12);
        return $"{path}?from={Stamp(to.AddHours(-24))}&to={Stamp(to)}";
    }

    /// <summary>A spot on the drawing by its share of the width and height, once the drawing is on the screen.</summary>
    public async Task<Func<double, double, Spot>> PlaceAsync()
    {
        await Lanes.EvaluateAsync("e => e.scrollIntoView({ block: 'center', behavior: 'instant' })");
        var box = await Lanes.BoundingBoxAsync() ?? throw new InvalidOperationException("The strip is not drawn.");
        return (x, y) => new(box.X + (x * box.Width), box.Y + (y * box.Height));
    }

    public async Task<Shown> ShownAsync() => new(
        Time(await Figure.GetAttributeAsync("data-from")), Time(await Figure.GetAttributeAsync("data-to")));

    /// <summary>What it shows once that is as expected.</summary>
    public Task<Shown> ShownOnceAsync(Func<Shown, bool> expected, string what) => Eventually.Comes(ShownAsync, expected, what);

    private static DateTimeOffset Time(string? text) => DateTimeOffset.Parse(text!, CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal);

    private static string Stamp(DateTimeOffset at) => at.UtcDateTime.ToString("yyyy-MM-ddTHH:mm:ssZ", CultureInfo.InvariantCulture);
}
