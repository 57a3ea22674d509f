using System.Globalization;

namespace TankWatch.Core.Time;

/// <summary>Times as people at a site say them.</summary>
public static class LocalClock
{
    /// <summary>The clock alone for today, with the day for any other: "07:42", "yesterday 07:42", "Tuesday 07:42", "3 November, 07:42".</summary>
    /// <param name="at">When it was.</param>
    /// <param name="now">The present.</param>
    /// <param name="zone">The site's.</param>
    public static string Near(DateTimeOffset at, DateTimeOffset now, TimeZoneInfo zone)
    {
        var (then, today) = (TimeZoneInfo.ConvertTime(at, zone), TimeZoneInfo.ConvertTime(now, zone));
        return (today.Date - then.Date).TotalDays switch
        {
            0 => In("HH:mm"),
            1 => In("'yesterday' HH:mm"),
            > 1 and < 7 => In("dddd HH:mm"),
            _ => In(then.Year == today.Year ? "d MMMM, HH:mm" : "d MMMM yyyy, HH:mm"),
        };

        string In(string format) => then.ToString(format, CultureInfo.InvariantCulture);
    }
}
