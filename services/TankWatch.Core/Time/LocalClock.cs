using TankWatch.Core.Texts;

namespace TankWatch.Core.Time;

/// <summary>Times as people at a site say them.</summary>
public static class LocalClock
{
    /// <summary>The clock alone for today, with the day for any other: "07:42", "yesterday 07:42", "Tuesday 07:42", "3 November, 07:42".</summary>
    /// <param name="at">When it was.</param>
    /// <param name="now">The present.</param>
    /// <param name="zone">The site's.</param>
    public static Phrase Near(DateTimeOffset at, DateTimeOffset now, TimeZoneInfo zone)
    {
        var (then, today) = (PhraseMoment.In(zone, at), TimeZoneInfo.ConvertTime(now, zone));
        var key = (today.Date - then.At.Date).TotalDays switch
        {
            0 => "near.today",
            1 => "near.yesterday",
            > 1 and < 7 => "near.week",
            _ => then.At.Year == today.Year ? "near.year" : "near.far",
        };
        return Phrase.Of(key, ("at", then));
    }
}
