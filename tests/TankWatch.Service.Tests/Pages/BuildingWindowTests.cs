using TankWatch.Service.Pages.Building;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

/// <summary>
/// Days as the IANA time zone database has them [V]: Europe/Lisbon goes forward on 2026-03-29 and back on 2026-10-25, both at 01:00 UTC;
/// Pacific/Apia had no 2011-12-30. Weeks are those of ISO 8601, from Monday [V].
/// </summary>
public sealed class BuildingWindowTests
{
    private static readonly DateTimeOffset Now = new(2026, 3, 29, 18, 0, 0, TimeSpan.Zero);

    [Theory]
    [InlineData(null, 24)]
    [InlineData("", 24)]
    [InlineData("day", 24)]
    [InlineData("week", 7 * 24)]
    [InlineData("month", 30 * 24)]
    public void Without_a_date_it_is_the_time_up_to_now(string? view, double hours)
    {
        var read = Read(view);
        Assert.Equal((Now.AddHours(-hours), Now), (read.Window.From, read.Window.To));
        Assert.Equal((string.IsNullOrEmpty(view) ? "day" : view, null, null), (read.View, read.On, read.Problem));
    }

    [Theory]
    [InlineData("2026-03-28", "2026-03-28T00:00:00Z", 24)]
    [InlineData("2026-03-29", "2026-03-29T00:00:00Z", 23)]
    [InlineData("2026-10-25", "2026-10-24T23:00:00Z", 25)]
    public void A_day_is_the_buildings_own_also_when_its_clocks_change(string on, string from, double hours) => Spans(Read(on: on), from, hours);

    [Theory]
    [InlineData("2026-03-23", "2026-03-23T00:00:00Z", (7 * 24) - 1)]
    [InlineData("2026-03-29", "2026-03-23T00:00:00Z", (7 * 24) - 1)]
    [InlineData("2026-03-30", "2026-03-29T23:00:00Z", 7 * 24)]
    [InlineData("2026-10-25", "2026-10-18T23:00:00Z", (7 * 24) + 1)]
    [InlineData("2027-01-01", "2026-12-28T00:00:00Z", 7 * 24)]
    public void A_week_runs_from_monday_to_sunday(string on, string from, double hours) => Spans(Read("week", on), from, hours);

    [Theory]
    [InlineData("2026-03-15", "2026-03-01T00:00:00Z", (31 * 24) - 1)]
    [InlineData("2028-02-29", "2028-02-01T00:00:00Z", 29 * 24)]
    [InlineData("2026-12-31", "2026-12-01T00:00:00Z", 31 * 24)]
    public void A_month_is_that_of_the_calendar(string on, string from, double hours) => Spans(Read("month", on), from, hours);

    [Fact]
    public void A_time_of_ones_own_goes_before_a_date()
    {
        var read = Read("week", "2026-01-01", "2026-03-01T01:00:00+01:00", "2026-03-01T06:00:00Z");
        Assert.Equal((At("2026-03-01T00:00:00Z"), At("2026-03-01T06:00:00Z")), (read.Window.From, read.Window.To));
        Assert.Equal(("", null, null), (read.View, read.On, read.Problem));
        Assert.Equal(At("2026-03-01T00:00:00Z"), Read(from: "2026-03-01T01:00:00 01:00", to: "2026-03-01T06:00:00Z").Window.From); // An unescaped plus.
        Assert.Null(Read(from: "2026-01-01T00:00:00Z", to: "2026-03-04T00:00:00Z").Problem);
    }

    [Theory]
    [InlineData("year", null, null, null)]
    [InlineData("DAY", null, null, null)]
    [InlineData(null, "2026-02-30", null, null)]
    [InlineData(null, "29.3.2026", null, null)]
    [InlineData(null, "0001-01-01", null, null)]
    [InlineData("month", "9999-12-31", null, null)]
    [InlineData(null, null, "2026-03-01T00:00:00Z", null)]
    [InlineData(null, null, null, "2026-03-01T00:00:00Z")]
    [InlineData(null, null, "soon", "2026-03-01T00:00:00Z")]
    [InlineData(null, null, "2026-03-01T00:00:00", "2026-03-02T00:00:00")]
    [InlineData(null, null, "2026-03-01T00:00:00Z", "2026-03-01T00:00:00Z")]
    [InlineData(null, null, "2026-03-02T00:00:00Z", "2026-03-01T00:00:00Z")]
    [InlineData(null, null, "2026-01-01T00:00:00Z", "2026-03-04T00:00:01Z")]
    [InlineData(null, null, "0001-01-01T00:00:00Z", "0001-01-02T00:00:00Z")]
    [InlineData(null, null, "9999-12-30T00:00:00Z", "9999-12-31T23:59:59Z")]
    public void What_cannot_be_is_said_and_the_last_day_shown(string? view, string? on, string? from, string? to)
    {
        var read = Read(view, on, from, to);
        Assert.Equal((Now.AddDays(-1), Now), (read.Window.From, read.Window.To));
        Assert.EndsWith(".", read.Problem, StringComparison.Ordinal);
    }

    [Fact]
    public void A_day_that_the_clocks_left_out_is_said_to_be_none() => Assert.Equal(
        "The clocks of this building left that day out.",
        BuildingWindow.Read(null, "2011-12-30", null, null, Now, TimeZoneInfo.FindSystemTimeZoneById("Pacific/Apia")).Problem);

    private static void Spans(BuildingWindow read, string from, double hours)
    {
        Assert.Null(read.Problem);
        Assert.Equal((At(from), hours), (read.Window.From, read.Window.Length.TotalHours));
    }

    private static BuildingWindow Read(string? view = null, string? on = null, string? from = null, string? to = null) =>
        BuildingWindow.Read(view, on, from, to, Now, TimeZoneInfo.FindSystemTimeZoneById("Europe/Lisbon"));

    private static DateTimeOffset At(string text) => DateTimeOffset.Parse(text, System.Globalization.CultureInfo.InvariantCulture);
}
