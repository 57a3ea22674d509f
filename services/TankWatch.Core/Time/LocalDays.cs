namespace TankWatch.Core.Time;

/// <summary>The calendar days of a time zone: 23, 24, 24.5 or 25 hours long, and now and then missing.</summary>
public static class LocalDays
{
    public static DateOnly DateOf(DateTimeOffset at, TimeZoneInfo zone) => DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(at, zone).DateTime);

    /// <summary>The first moment, UTC, whose local date is <paramref name="date"/> or later.</summary>
    /// <remarks>
    /// Found by bisection on whole seconds of the local date itself, so that a midnight that does not exist, one that happens twice,
    /// and a date that a zone skipped altogether need no special case. Local dates never go back by more than the hour that a clock
    /// change repeats, and no zone repeats one across midnight into the day before for longer than that: the earliest moment counts.
    /// </remarks>
    public static DateTimeOffset StartOf(DateOnly date, TimeZoneInfo zone)
    {
        var around = new DateTimeOffset(date.ToDateTime(TimeOnly.MinValue), TimeSpan.Zero);
        var (low, high) = (around.AddHours(-26).ToUnixTimeSeconds(), around.AddHours(26).ToUnixTimeSeconds());
        while (high - low > 1)
        {
            var middle = low + ((high - low) / 2);
            if (DateOf(DateTimeOffset.FromUnixTimeSeconds(middle), zone) >= date)
            {
                high = middle;
            }
            else
            {
                low = middle;
            }
        }

        return DateTimeOffset.FromUnixTimeSeconds(high);
    }

    /// <summary>The next moment, UTC, at which the local date changes, and the date it changes to.</summary>
    public static (DateTimeOffset At, DateOnly Date) NextChange(DateTimeOffset after, TimeZoneInfo zone)
    {
        var at = StartOf(DateOf(after, zone).AddDays(1), zone);
        return (at, DateOf(at, zone));
    }
}
