using System.Globalization;
using TankWatch.Service.Api;
using Xunit;

namespace TankWatch.Service.Tests.Api;

public sealed class PeriodTests
{
    // ISO 8601 weeks at the turn of a year, with the weekday (CHECKS H3 [D]).
    [Theory]
    [InlineData("2026-01-01", 2026, 1, 4)]
    [InlineData("2027-01-01", 2026, 53, 5)]
    [InlineData("2024-12-30", 2025, 1, 1)]
    [InlineData("2020-12-31", 2020, 53, 4)]
    public void A_week_is_the_week_of_ISO_8601(string date, int year, int week, int weekday)
    {
        var day = DateOnly.Parse(date, CultureInfo.InvariantCulture);
        var (from, to) = Period.Find("week")!.Around(day);
        Assert.Equal((DayOfWeek.Monday, DayOfWeek.Sunday), (from.DayOfWeek, to.DayOfWeek));
        Assert.Equal((weekday - 1, 7 - weekday), (day.DayNumber - from.DayNumber, to.DayNumber - day.DayNumber));
        Assert.Equal(ISOWeek.ToDateTime(year, week, DayOfWeek.Monday), from.ToDateTime(TimeOnly.MinValue));
    }

    [Theory]
    [InlineData("2026-02-10", "2026-02-01", "2026-02-28")]
    [InlineData("2024-02-10", "2024-02-01", "2024-02-29")] // A leap year [D].
    public void A_month_is_the_calendar_s(string date, string from, string to) => Assert.Equal(
        (DateOnly.Parse(from, CultureInfo.InvariantCulture), DateOnly.Parse(to, CultureInfo.InvariantCulture)),
        Period.Find("month")!.Around(DateOnly.Parse(date, CultureInfo.InvariantCulture)));
}
