using Microsoft.AspNetCore.Http;
using Microsoft.Playwright;

namespace TankWatch.Browser.Tests.Browsing;

/// <summary>How a page is looked at.</summary>
/// <param name="Width">CSS pixels.</param>
/// <param name="Height">CSS pixels.</param>
public sealed record Look(int Width, int Height)
{
    /// <summary>A cheap phone, held upright.</summary>
    public static Look Phone { get; } = new(390, 844) { Touch = true };

    public static Look Desk { get; } = new(1280, 800);

    /// <summary>The narrowest screen that WCAG 2.2, 1.4.10 asks for.</summary>
    public static Look Narrow { get; } = new(320, 640) { Touch = true };

    /// <summary>Phone and desk, each by day and by night.</summary>
    public static IEnumerable<Look> Usual => [Phone, Phone with { Dark = true }, Desk, Desk with { Dark = true }];

    public bool Dark { get; init; }

    /// <summary>Reading begins at the right.</summary>
    public bool RightToLeft { get; init; }

    public bool Script { get; init; } = true;

    public bool Touch { get; init; }

    public bool ForcedColors { get; init; }

    public bool ReducedMotion { get; init; }

    /// <summary>Of the first answer.</summary>
    public int Status { get; init; } = StatusCodes.Status200OK;

    /// <summary>What this browser complains of although nothing is wrong, such as a service that the test has ended.</summary>
    public Func<string, bool> Expected { get; init; } = _ => false;

    /// <summary>As it stands in the name of a picture or of a test.</summary>
    public override string ToString() => $"{Width}-{(Dark ? "dark" : "light")}{(RightToLeft ? "-rtl" : "")}";

    internal ColorScheme Scheme => Dark ? ColorScheme.Dark : ColorScheme.Light;

    internal BrowserNewContextOptions Options() => new()
    {
        ViewportSize = new() { Width = Width, Height = Height },
        ColorScheme = Scheme,
        JavaScriptEnabled = Script,
        HasTouch = Touch,
        IsMobile = Touch,
        ForcedColors = ForcedColors ? Microsoft.Playwright.ForcedColors.Active : Microsoft.Playwright.ForcedColors.None,
        ReducedMotion = ReducedMotion ? Microsoft.Playwright.ReducedMotion.Reduce : Microsoft.Playwright.ReducedMotion.NoPreference,
        Locale = "en-GB",
        TimezoneId = "UTC",
    };
}
