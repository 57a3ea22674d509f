using System.ComponentModel;
using System.Diagnostics;
using System.Globalization;
using TankWatch.Core.Notifications;
using Xunit;

namespace TankWatch.Core.Tests.Notifications;

public sealed class QuietHoursTests
{
    /// <summary>Half hours and quarters off, both hemispheres, midnight that does not exist, half an hour of summer, and none.</summary>
    private static readonly string[] Zones =
    [
        "Europe/Lisbon", "Europe/London", "Europe/Berlin", "Europe/Istanbul", "America/New_York", "America/St_Johns", "America/Sao_Paulo", "America/Santiago",
        "America/Havana", "Africa/Cairo", "Africa/Casablanca", "Asia/Kolkata", "Asia/Kathmandu", "Asia/Beirut", "Asia/Jerusalem", "Asia/Colombo",
        "Australia/Lord_Howe", "Australia/Adelaide", "Pacific/Auckland", "Pacific/Chatham",
    ];

    /// <summary>At the edges of the hours that clocks leave out and live twice, and across midnight.</summary>
    private static readonly string[] Spans = ["22:00-07:00", "01:30-02:30", "02:15-03:00", "00:00-06:00", "23:45-00:15"];

    /// <summary>
    /// Python's zoneinfo reads the same database with code of its own. For every zone and span it gives the quiet minutes, as first and last,
    /// of three days about each change of the clock from 2026 to 2035, and of three days in March where there is none.
    /// </summary>
    private const string Oracle = """
        import sys
        from datetime import datetime, timedelta, timezone
        from zoneinfo import ZoneInfo
        spans = [tuple(int(t[:2]) * 60 + int(t[3:]) for t in s.split("-")) for s in sys.argv[2].split(",")]
        hour = timedelta(hours=1)
        for name in sys.argv[1].split(","):
            zone = ZoneInfo(name)
            at, changes = datetime(2026, 1, 1, tzinfo=timezone.utc), []
            while at.year < 2036:
                if at.astimezone(zone).utcoffset() != (at + hour).astimezone(zone).utcoffset():
                    changes.append(at)
                at += hour
            for change in changes or [datetime(2026, 3, 20, tzinfo=timezone.utc)]:
                first = int((change - timedelta(hours=36)).timestamp()) // 60
                clocks = []
                for minute in range(first, first + 72 * 60):
                    local = datetime.fromtimestamp(minute * 60, zone)
                    clocks.append(local.hour * 60 + local.minute)
                for i, (start, end) in enumerate(spans):
                    quiet = [start <= c < end if start < end else c >= start or c < end for c in clocks]
                    edges = [m for m in range(1, len(quiet)) if quiet[m] != quiet[m - 1]]
                    print(name, i, first, len(quiet), int(quiet[0]), ",".join(str(first + m) for m in edges))
        """;

    [Fact]
    public void Every_minute_about_every_change_of_the_clock_to_2035_is_as_the_wall_says()
    {
        var (zones, wrong, minutes) = (new HashSet<string>(), new List<string>(), 0);
        foreach (var line in Ask().Split('\n', StringSplitOptions.RemoveEmptyEntries))
        {
            var part = line.TrimEnd().Split(' ');
            var (zone, quiet) = (TimeZoneInfo.FindSystemTimeZoneById(part[0]), Parse(Spans[int.Parse(part[1], CultureInfo.InvariantCulture)]));
            var (first, count) = (long.Parse(part[2], CultureInfo.InvariantCulture), int.Parse(part[3], CultureInfo.InvariantCulture));
            var edges = part[5].Split(',').Select(edge => long.Parse(edge, CultureInfo.InvariantCulture)).ToList();
            zones.Add(part[0]);
            var (isQuiet, next) = (part[4] == "1", 0);
            for (var minute = first; minute < first + count; minute++)
            {
                if (next < edges.Count && edges[next] == minute)
                {
                    (isQuiet, next) = (!isQuiet, next + 1);
                }

                minutes++;
                var at = DateTimeOffset.FromUnixTimeSeconds((minute * 60) + (minute % 60)); // Any second of it.
                var end = !isQuiet ? at : next < edges.Count ? DateTimeOffset.FromUnixTimeSeconds(edges[next] * 60) : (DateTimeOffset?)null;
                if (quiet.Cover(at, zone) != isQuiet || (end is not null && minute % 7 == 0 && quiet.EndAfter(at, zone) != end))
                {
                    wrong.Add($"{part[0]} {quiet} {at:u}");
                }
            }
        }

        Assert.True(wrong.Count == 0, $"{wrong.Count} wrong minutes of {minutes}, such as {string.Join("; ", wrong.Take(5))}");
        Assert.True(zones.Count == Zones.Length && minutes > 1_000_000, $"{minutes} minutes of {zones.Count} zones are too few to prove anything");
    }

    [Theory]
    // CHECKS H2 [V: tz database]: London 2026-03-29 has no 01:00 to 02:00, and 2026-10-25 has 01:30 twice, at 00:30Z and at 01:30Z.
    [InlineData("Europe/London", "00:30-01:30", "2026-03-29T00:45:00Z", "2026-03-29T01:00:00Z")]
    [InlineData("Europe/London", "00:30-01:30", "2026-10-25T00:15:00Z", "2026-10-25T00:30:00Z")]
    [InlineData("Europe/London", "00:30-01:30", "2026-10-25T01:05:00Z", "2026-10-25T01:30:00Z")]
    // CHECKS H2 [V]: Lord Howe 2026-04-05 has 24.5 hours; Cairo 2026-04-24 has no 00:00.
    [InlineData("Australia/Lord_Howe", "22:00-07:00", "2026-04-04T12:00:00Z", "2026-04-04T20:30:00Z")]
    [InlineData("Africa/Cairo", "23:00-00:30", "2026-04-23T21:30:00Z", "2026-04-23T22:00:00Z")]
    [InlineData("Asia/Kolkata", "22:00-07:00", "2026-01-01T16:29:59Z", "2026-01-01T16:29:59Z")]
    public void Quiet_ends_when_the_wall_clock_says_so(string zone, string span, string at, string end) =>
        Assert.Equal(
            DateTimeOffset.Parse(end, CultureInfo.InvariantCulture),
            Parse(span).EndAfter(DateTimeOffset.Parse(at, CultureInfo.InvariantCulture), TimeZoneInfo.FindSystemTimeZoneById(zone)));

    private static QuietHours Parse(string span) => new(
        TimeOnly.Parse(span[..5], CultureInfo.InvariantCulture), TimeOnly.Parse(span[6..], CultureInfo.InvariantCulture));

    private static string Ask()
    {
        try
        {
            using var python = Process.Start(new ProcessStartInfo("python3", ["-c", Oracle, string.Join(',', Zones), string.Join(',', Spans)]) { RedirectStandardOutput = true })!;
            var said = python.StandardOutput.ReadToEnd();
            python.WaitForExit();
            Assert.Equal(0, python.ExitCode);
            return said;
        }
        catch (Win32Exception)
        {
            Assert.Skip("python3 is not installed");
            throw;
        }
    }
}
