using System.Globalization;
using TankWatch.Core.Time;
using TankWatch.Service.Api;
using TankWatch.Service.Pages.Strips;

namespace TankWatch.Service.Pages.Building;

/// <summary>Which time a building's strip shows, read from the page's query.</summary>
/// <param name="Window">What to show.</param>
/// <param name="View">day, week or month; empty for a time of one's own.</param>
/// <param name="On">The local day that was asked for; null for the time up to now.</param>
/// <param name="Problem">What was wrong with the query, in one sentence; the window is the usual one then.</param>
public sealed record BuildingWindow(StripWindow Window, string View, DateOnly? On, string? Problem)
{
    public const int LongestDays = 62;

    // What a four-digit year allows, well away from the ends of the calendar.
    private const int FirstYear = 2000;
    private const int LastYear = 9000;

    /// <summary>Reads the query. <paramref name="from"/> and <paramref name="to"/> go before <paramref name="view"/> and <paramref name="on"/>.</summary>
    /// <param name="view">day, week or month: up to now, or the calendar's own around <paramref name="on"/>.</param>
    /// <param name="on">A local day, such as 2026-03-29.</param>
    /// <param name="from">RFC 3339.</param>
    /// <param name="to">RFC 3339, after <paramref name="from"/> by at most <see cref="LongestDays"/> days.</param>
    /// <param name="now">UTC.</param>
    /// <param name="zone">The site's: its days may have 23 or 25 hours.</param>
    internal static BuildingWindow Read(string? view, string? on, string? from, string? to, DateTimeOffset now, TimeZoneInfo zone)
    {
        var usual = new BuildingWindow(UpTo(now, days: 1), "day", null, null);
        if (!string.IsNullOrEmpty(from) || !string.IsNullOrEmpty(to))
        {
            var (window, problem) = Between(from, to, usual.Window);
            return problem is null ? new(window, "", null, null) : usual with { Problem = problem };
        }

        if (Period.Find(string.IsNullOrEmpty(view) ? "day" : view) is not { } period)
        {
            return usual with { Problem = Words.Say("building.window.view") };
        }

        if (string.IsNullOrEmpty(on))
        {
            return usual with { Window = UpTo(now, period.Name switch { "day" => 1, "week" => 7, _ => 30 }), View = period.Name };
        }

        if (!DateOnly.TryParseExact(on, "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out var day) || day.Year is < FirstYear or > LastYear)
        {
            return usual with { Problem = Words.Say("building.window.date") };
        }

        var (first, last) = period.Around(day);
        var around = new StripWindow(LocalDays.StartOf(first, zone), LocalDays.StartOf(last.AddDays(1), zone));
        return around.Length > TimeSpan.Zero
            ? new(around, period.Name, day, null)
            : usual with { Problem = Words.Say("building.window.left-out") };
    }

    /// <summary>A time with two ends.</summary>
    /// <returns>The usual time and what was wrong, or the time asked for and null.</returns>
    internal static (StripWindow Window, string? Problem) Between(string? from, string? to, StripWindow usual)
    {
        if (!TryTime(from, out var start) || !TryTime(to, out var end))
        {
            return (usual, Words.Say("building.window.ends"));
        }

        return start >= end ? (usual, Words.Say("problem.ends-before"))
            : end - start > TimeSpan.FromDays(LongestDays) ? (usual, Words.Say("building.window.long", ("n", LongestDays)))
            : (new(start, end), null);
    }

    private static StripWindow UpTo(DateTimeOffset now, int days) => new(now.AddDays(-days), now);

    // An unescaped plus of an offset arrives as a blank.
    private static bool TryTime(string? text, out DateTimeOffset time) =>
        Rfc3339.TryParse((text ?? "").Replace(' ', '+'), out time) && time.Year is >= FirstYear and <= LastYear;
}
