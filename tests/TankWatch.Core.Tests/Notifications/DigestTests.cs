using System.Globalization;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Notifications;

public sealed class DigestTests
{
    [Theory]
    [InlineData("2026-03-02T06:59:59Z", DigestRhythm.Daily, "2026-03-01T07:00:00Z")]
    [InlineData("2026-03-02T07:00:00Z", DigestRhythm.Daily, "2026-03-02T07:00:00Z")] // A Monday.
    [InlineData("2026-03-02T06:59:59Z", DigestRhythm.Weekly, "2026-02-23T07:00:00Z")]
    [InlineData("2026-03-02T07:00:00Z", DigestRhythm.Weekly, "2026-03-02T07:00:00Z")]
    [InlineData("2026-03-08T23:00:00Z", DigestRhythm.Weekly, "2026-03-02T07:00:00Z")]
    [InlineData("2026-03-29T12:00:00Z", DigestRhythm.Daily, "2026-03-29T06:00:00Z")] // Summer time began in the night.
    [InlineData("2026-10-25T12:00:00Z", DigestRhythm.Daily, "2026-10-25T07:00:00Z")] // And ended.
    public void A_digest_is_due_at_seven_of_the_clock_on_the_wall(string now, DigestRhythm rhythm, string due) =>
        Assert.Equal(At(due), Digest.LastDue(At(now), TimeZoneInfo.FindSystemTimeZoneById("Europe/Lisbon"), rhythm));

    [Theory]
    [InlineData("Asia/Kathmandu")]
    [InlineData("America/St_Johns")]
    [InlineData("Pacific/Apia")]
    [InlineData("Africa/Casablanca")]
    [InlineData("Australia/Lord_Howe")]
    public void Every_morning_has_one_and_no_other_hour_has(string id)
    {
        var zone = TimeZoneInfo.FindSystemTimeZoneById(id);
        var last = Digest.LastDue(At("2026-01-01T00:00:00Z"), zone, DigestRhythm.Daily);
        var mornings = 0;
        for (var now = At("2026-01-01T00:00:00Z"); now < At("2027-01-01T00:00:00Z"); now = now.AddMinutes(30))
        {
            var due = Digest.LastDue(now, zone, DigestRhythm.Daily);
            Assert.InRange(now - due, TimeSpan.Zero, TimeSpan.FromHours(25));
            if (due != last)
            {
                Assert.Equal(new TimeOnly(7, 0), TimeOnly.FromDateTime(TimeZoneInfo.ConvertTime(due, zone).DateTime));
                (last, mornings) = (due, mornings + 1);
            }
        }

        Assert.InRange(mornings, 364, 366);
    }

    private static DateTimeOffset At(string text) => DateTimeOffset.Parse(text, CultureInfo.InvariantCulture);
}
