using System.Globalization;
using CsCheck;
using TankWatch.Core.Contracts;
using Xunit;

namespace TankWatch.Core.Tests.Contracts;

public sealed class WorkingHoursTests
{
    // CHECKS H2 [V: tz database] names the days on which these set their clocks in 2026; Lord Howe does it by half an hour.
    private static readonly string[] Zones =
        ["Europe/London", "America/New_York", "Asia/Kolkata", "Asia/Kathmandu", "Australia/Lord_Howe", "Africa/Cairo", "America/Santiago", "Africa/Casablanca"];

    private static readonly string[] Kinds =
        ["always", "Mon-Fri 08:00-18:00", "Sat-Mon 00:00-02:30, Wed 01:15-24:00", "Mon-Sun 01:00-01:30", "Sun 00:00-24:00", "Tue 09:00-12:00, Tue 11:00-13:00"];

    [Theory]
    [InlineData("always")]
    [InlineData("Mon-Fri 08:00-18:00")]
    [InlineData("Mon-Fri 08:00-18:00, Sat 09:00-13:00")]
    [InlineData("Sat-Mon 00:00-24:00")]
    public void Hours_read_back_as_they_were_written(string text)
    {
        Assert.True(WorkingHours.TryParse(text, out var hours));
        Assert.Equal(text, hours.ToString());
        Assert.Equal(text == "always", hours.IsAlways);
    }

    [Theory]
    [InlineData("")]
    [InlineData("Mon")]
    [InlineData("Mon-Fri")]
    [InlineData("08:00-18:00")]
    [InlineData("mon 08:00-18:00")]
    [InlineData("Mon-Fri 18:00-08:00")]
    [InlineData("Mon-Fri 8-18")]
    [InlineData("Mon-Fri 08:00-24:30")]
    [InlineData("Mon-Fri 08:00-18:00,")]
    [InlineData("Mon-Fri-Sun 08:00-18:00")]
    [InlineData("Mon 08:00-08:59")] // Less than an hour a week: a target might never be reached.
    public void What_is_no_hours_is_refused(string text) => Assert.False(WorkingHours.TryParse(text, out _), text);

    [Theory]
    // CHECKS H2 [V]: London has no 01:00 to 02:00 on 2026-03-29 (from 01:00Z), and lives it twice on 2026-10-25 (00:00Z to 02:00Z). New York 2026-03-08 begins at
    // 05:00Z and has 23 hours, 2026-11-01 at 04:00Z and has 25. Lord Howe 2026-04-05 begins at 13:00Z the day before and has 24.5, 2026-10-04 has 23.5.
    [InlineData("Europe/London", "Sun 00:30-02:30", "2026-03-29T00:00:00Z", "2026-03-29T12:00:00Z", 60)]
    [InlineData("Europe/London", "Sun 01:00-02:00", "2026-03-29T00:00:00Z", "2026-03-29T12:00:00Z", 0)]
    [InlineData("Europe/London", "Sun 00:30-02:30", "2026-10-24T12:00:00Z", "2026-10-25T12:00:00Z", 180)]
    [InlineData("Europe/London", "Sun 01:00-02:00", "2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z", 60)]
    [InlineData("America/New_York", "Sun 00:00-24:00", "2026-03-07T00:00:00Z", "2026-03-10T00:00:00Z", 23 * 60)]
    [InlineData("America/New_York", "Sun 00:00-24:00", "2026-10-31T00:00:00Z", "2026-11-03T00:00:00Z", 25 * 60)]
    [InlineData("Australia/Lord_Howe", "Sun 00:00-24:00", "2026-04-04T00:00:00Z", "2026-04-06T00:00:00Z", 24.5 * 60)]
    [InlineData("Australia/Lord_Howe", "Sun 00:00-24:00", "2026-10-03T00:00:00Z", "2026-10-05T00:00:00Z", 23.5 * 60)]
    // By hand [D]: Friday 17:30 to Monday 08:30 in Kolkata (+05:30) is half an hour of either day; half a minute of a minute is half a minute.
    [InlineData("Asia/Kolkata", "Mon-Fri 08:00-18:00", "2026-03-06T12:00:00Z", "2026-03-09T03:00:00Z", 60)]
    [InlineData("Asia/Kolkata", "Mon-Fri 08:00-18:00", "2026-03-06T12:29:30Z", "2026-03-09T02:30:30Z", 1)]
    [InlineData("Asia/Kolkata", "Mon-Fri 08:00-18:00", "2026-03-06T13:00:00Z", "2026-03-09T02:30:00Z", 0)]
    [InlineData("Asia/Kolkata", "always", "2026-03-06T13:00:00Z", "2026-03-07T13:00:00Z", 24 * 60)]
    [InlineData("Europe/London", "always", "2026-03-28T12:00:00Z", "2026-03-29T12:00:00Z", 24 * 60)]
    public void Time_counts_while_the_wall_clock_stands_within_the_hours(string zone, string hours, string from, string to, double minutes) =>
        Assert.Equal(minutes, Hours(hours).Between(At(from), At(to), Zone(zone)).TotalMinutes);

    [Theory]
    // By hand [D]: told on Friday at 17:30, two hours are over on Monday at 09:30; told at night they begin in the morning; used up at closing time they end there.
    [InlineData("Asia/Kolkata", "Mon-Fri 08:00-18:00", "2026-03-06T12:00:00Z", 120, "2026-03-09T04:00:00Z")]
    [InlineData("Asia/Kolkata", "Mon-Fri 08:00-18:00", "2026-03-07T20:00:00Z", 60, "2026-03-09T03:30:00Z")]
    [InlineData("Asia/Kolkata", "Mon-Fri 08:00-18:00", "2026-03-06T11:30:00Z", 60, "2026-03-06T12:30:00Z")]
    [InlineData("Europe/London", "Sun 00:30-02:30", "2026-03-28T12:00:00Z", 61, "2026-04-04T23:31:00Z")] // One hour of that Sunday, 60 minutes, was left out.
    [InlineData("Europe/London", "Sun 00:30-02:30", "2026-10-24T12:00:00Z", 180, "2026-10-25T02:30:00Z")]
    [InlineData("Africa/Cairo", "Fri 00:00-24:00", "2026-04-23T12:00:00Z", 60, "2026-04-23T23:00:00Z")] // CHECKS H2 [V]: Friday 2026-04-24 begins at 01:00, 22:00Z.
    [InlineData("Asia/Kolkata", "always", "2026-03-06T12:00:30Z", 15, "2026-03-06T12:15:30Z")]
    public void A_deadline_is_when_the_promised_time_is_used_up(string zone, string hours, string from, int minutes, string deadline) =>
        Assert.Equal(At(deadline), Hours(hours).After(At(from), TimeSpan.FromMinutes(minutes), Zone(zone)));

    private static readonly Gen<(string Zone, string Hours, int Minute, int Length)> Cases = Gen.Select(
        Gen.Int[0, Zones.Length - 1].Select(i => Zones[i]), Gen.Int[0, Kinds.Length - 1].Select(i => Kinds[i]), Gen.Int[0, 365 * 24 * 60], Gen.Int[0, 3 * 24 * 60]);

    /// <summary>A failure prints its seed.</summary>
    [Fact]
    public void What_counts_is_what_comes_of_looking_at_every_minute() => Cases.Sample(
        (zone, hours, minute, length) =>
        {
            var (from, tz) = (At("2026-01-01T00:00:00Z").AddMinutes(minute), Zone(zone));
            var counted = Enumerable.Range(0, length).Count(i => IsWithin(hours, TimeZoneInfo.ConvertTime(from.AddMinutes(i), tz)));
            Assert.Equal(counted, Hours(hours).Between(from, from.AddMinutes(length), tz).TotalMinutes);
            if (counted > 0)
            {
                var end = Hours(hours).After(from, TimeSpan.FromMinutes(counted), tz);
                Assert.Equal(counted, Hours(hours).Between(from, end, tz).TotalMinutes);
                Assert.Equal(counted - 1, Hours(hours).Between(from, end.AddMinutes(-1), tz).TotalMinutes);
            }
        }, iter: 2000);

    /// <summary>Of the kinds above, read in another way than the code reads them.</summary>
    private static bool IsWithin(string hours, DateTimeOffset local)
    {
        var (day, clock) = (local.DayOfWeek, local.ToString("HH:mm", CultureInfo.InvariantCulture));
        return hours switch
        {
            "always" => true,
            "Mon-Fri 08:00-18:00" => day is not (DayOfWeek.Saturday or DayOfWeek.Sunday) && In("08:00", "18:00"),
            "Sat-Mon 00:00-02:30, Wed 01:15-24:00" =>
                (day is DayOfWeek.Saturday or DayOfWeek.Sunday or DayOfWeek.Monday && In("00:00", "02:30")) || (day is DayOfWeek.Wednesday && In("01:15", "24:00")),
            "Mon-Sun 01:00-01:30" => In("01:00", "01:30"),
            "Sun 00:00-24:00" => day is DayOfWeek.Sunday,
            _ => day is DayOfWeek.Tuesday && In("09:00", "13:00"),
        };

        bool In(string from, string to) => string.CompareOrdinal(clock, from) >= 0 && string.CompareOrdinal(clock, to) < 0;
    }

    private static WorkingHours Hours(string text) => WorkingHours.TryParse(text, out var hours) ? hours : throw new ArgumentException(text);

    private static TimeZoneInfo Zone(string id) => TimeZoneInfo.FindSystemTimeZoneById(id);

    private static DateTimeOffset At(string text) => DateTimeOffset.Parse(text, CultureInfo.InvariantCulture);
}
