using Microsoft.Playwright;
using TankWatch.Browser.Tests.Browsing;
using Xunit;

[assembly: AssemblyFixture(typeof(Chromium))]

namespace TankWatch.Browser.Tests.Browsing;

/// <summary>
/// The system's own Chromium, started once for all tests; each visit has a profile of its own. Nothing is downloaded: the package brings the program
/// that steers a browser, and no browser. Where Chromium is not there, the tests are reported as not run.
/// </summary>
public sealed class Chromium : IAsyncLifetime
{
    private static readonly string[] Quietly =
    [
        "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync",
    ];

    private IPlaywright? playwright;
    private IBrowser? browser;

    public async ValueTask InitializeAsync()
    {
        if (Find() is not { } program)
        {
            return;
        }

        Environment.SetEnvironmentVariable("PLAYWRIGHT_SKIP_BROWSER_DOWNLOAD", "1");
        playwright = await Playwright.CreateAsync();
        browser = await playwright.Chromium.LaunchAsync(new() { ExecutablePath = program, Args = Quietly });
    }

    public string Version => browser?.Version ?? "none";

    /// <summary>Opens a page, lets it be read, and fails if the reader did or if the page complained.</summary>
    /// <param name="address">The first page; null to leave opening it to the reader.</param>
    /// <param name="look">How it is looked at.</param>
    /// <param name="read">What the test does with it.</param>
    public async Task VisitAsync(string? address, Look look, Func<Visit, Task> read)
    {
        if (browser is null)
        {
            Assert.Skip("Chromium is not installed (package chromium), and CHROMIUM names none");
        }

        await using var context = await browser.NewContextAsync(look.Options());
        context.SetDefaultTimeout(Patience.PageMilliseconds);
        var visit = await Visit.BeginAsync(context, look);
        try
        {
            if (address is not null)
            {
                await visit.OpenAsync(address);
            }

            await read(visit);
        }
        catch (Exception e) when (e is not OperationCanceledException && visit.Complaints.Count > 0)
        {
            throw new InvalidOperationException($"{e.Message}\nMeanwhile the page complained:\n{string.Join('\n', visit.Complaints)}", e);
        }

        Assert.True(visit.Complaints.Count == 0, $"The page complained:\n{string.Join('\n', visit.Complaints)}");
    }

    public async ValueTask DisposeAsync()
    {
        if (browser is not null)
        {
            await browser.DisposeAsync();
        }

        playwright?.Dispose();
    }

    private static string? Find()
    {
        var named = Environment.GetEnvironmentVariable("CHROMIUM");
        var folders = (Environment.GetEnvironmentVariable("PATH") ?? "").Split(Path.PathSeparator, StringSplitOptions.RemoveEmptyEntries);
        string?[] places = [named, "/usr/bin/chromium", .. folders.Select(folder => Path.Combine(folder, "chromium"))];
        return places.FirstOrDefault(File.Exists);
    }
}

/// <summary>How long a test waits, and for what.</summary>
internal static class Patience
{
    /// <summary>For whatever a page does by itself at once.</summary>
    public const float PageMilliseconds = 30_000;

    /// <summary>For a page to find the service again after it was away.</summary>
    public const float ReunionMilliseconds = 120_000;

    /// <summary>For a service that has just started to believe that it has heard what waited for it, and to judge.</summary>
    public static readonly TimeSpan CatchUp = TimeSpan.FromSeconds(120);

    /// <summary>For the alerts that the demonstration's script raises within its first two minutes.</summary>
    public static readonly TimeSpan Script = TimeSpan.FromMinutes(5);
}
