using System.Globalization;
using TankWatch.Core.Time;
using Xunit;

namespace TankWatch.Core.Tests.Time;

public sealed class LocalDaysTests
{
    private static DateOnly Date(string date) => DateOnly.ParseExact(date, "yyyy-MM-dd", CultureInfo.InvariantCulture);
    private static DateTimeOffset Utc(string time) => DateTimeOffset.Parse(time, CultureInfo.InvariantCulture);
    private static TimeZoneInfo Zone(string name) => TimeZoneInfo.FindSystemTimeZoneById(name);

    [Theory] // CHECKS H2 [V: tz database, commit b9bc7a8]: hours of the local date, and its first moment.
    [InlineData("America/New_York", "2026-03-08", 23, "2026-03-08T05:00:00Z")]
    [InlineData("America/New_York", "2026-11-01", 25, "2026-11-01T04:00:00Z")]
    [InlineData("Europe/London", "2026-03-29", 23, "2026-03-29T00:00:00Z")]
    [InlineData("Europe/London", "2026-10-25", 25, "2026-10-24T23:00:00Z")]
    [InlineData("Asia/Kolkata", "2026-06-15", 24, "2026-06-14T18:30:00Z")]
    [InlineData("Asia/Kathmandu", "2026-01-01", 24, "2025-12-31T18:15:00Z")]
    [InlineData("Australia/Lord_Howe", "2026-04-05", 24.5, "2026-04-04T13:00:00Z")]
    [InlineData("Australia/Lord_Howe", "2026-10-04", 23.5, "2026-10-03T13:30:00Z")] // Half an hour ahead of its summer: 10:30 east.
    [InlineData("America/Santiago", "2026-09-06", 23, "2026-09-06T04:00:00Z")] // No midnight.
    [InlineData("Africa/Cairo", "2026-04-24", 23, "2026-04-23T22:00:00Z")] // No midnight.
    [InlineData("Asia/Kolkata", "1945-10-14", 25, "1945-10-13T17:30:00Z")] // An hour ahead until the 15th.
    public void A_day_is_as_long_as_its_zone_makes_it(string zone, string date, double hours, string start)
    {
        var (from, next) = (LocalDays.StartOf(Date(date), Zone(zone)), LocalDays.StartOf(Date(date).AddDays(1), Zone(zone)));
        Assert.Equal(Utc(start), from);
        Assert.Equal(hours, (next - from).TotalHours);
        Assert.Equal(Date(date), LocalDays.DateOf(from, Zone(zone)));
        Assert.Equal(Date(date).AddDays(-1), LocalDays.DateOf(from.AddSeconds(-1), Zone(zone)));
        Assert.Equal((next, Date(date).AddDays(1)), LocalDays.NextChange(from, Zone(zone)));
    }

    [Fact]
    public void A_day_that_does_not_exist_has_no_length()
    {
        // CHECKS H2 [V]: in Apia the 29th of December 2011 ends at 10:00Z and the 31st begins.
        var (zone, at) = (Zone("Pacific/Apia"), Utc("2011-12-30T10:00:00Z"));
        Assert.Equal(at, LocalDays.StartOf(Date("2011-12-30"), zone));
        Assert.Equal(at, LocalDays.StartOf(Date("2011-12-31"), zone));
        Assert.Equal(Date("2011-12-29"), LocalDays.DateOf(at.AddTicks(-1), zone));
        Assert.Equal((at, Date("2011-12-31")), LocalDays.NextChange(at.AddHours(-5), zone));
    }

    [Theory] // CHECKS H2 [V]: months in hours.
    [InlineData("Europe/London", "2026-03-01", 743)]
    [InlineData("Europe/London", "2026-10-01", 745)]
    [InlineData("America/New_York", "2026-11-01", 721)]
    [InlineData("Asia/Kolkata", "2024-02-01", 696)]
    [InlineData("Asia/Kolkata", "2026-02-01", 672)]
    [InlineData("Asia/Kolkata", "2100-02-01", 672)] // No leap year.
    [InlineData("Asia/Kolkata", "2000-02-01", 696)] // A leap year.
    public void A_months_days_add_up(string zone, string first, int hours)
    {
        var (from, to) = (LocalDays.StartOf(Date(first), Zone(zone)), LocalDays.StartOf(Date(first).AddMonths(1), Zone(zone)));
        Assert.Equal(hours, (to - from).TotalHours);
        var (at, days) = (from, 0);
        for (; at < to; days++)
        {
            at = LocalDays.NextChange(at, Zone(zone)).At;
        }

        Assert.Equal((to, DateTime.DaysInMonth(Date(first).Year, Date(first).Month)), (at, days));
    }

    [Fact]
    public void An_hour_that_happens_twice_belongs_to_its_day_both_times()
    {
        // CHECKS H2 [V]: London 2026-10-25 01:30 is 00:30Z and 01:30Z.
        foreach (var time in new[] { "2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z" })
        {
            Assert.Equal(new(1, 30), TimeOnly.FromDateTime(TimeZoneInfo.ConvertTime(Utc(time), Zone("Europe/London")).DateTime));
            Assert.Equal(Date("2026-10-25"), LocalDays.DateOf(Utc(time), Zone("Europe/London")));
        }
    }
}
