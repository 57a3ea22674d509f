namespace TankWatch.Core.Notifications;

/// <summary>
/// A span of the local day in which a person wants no notice that can wait; an end at or before its start runs past midnight. The wall
/// clock of the site decides, minute by minute: in the hour that is lived twice it is quiet twice, and a minute that is left out is missed.
/// </summary>
/// <param name="From">The first quiet minute.</param>
/// <param name="To">The first minute that is quiet no more.</param>
public readonly record struct QuietHours(TimeOnly From, TimeOnly To)
{
    /// <summary>Longer than any day of the time zone database, 25 hours, and the quiet hours after it.</summary>
    private const int MostMinutes = 49 * 60;

    /// <summary>Whether a moment is quiet.</summary>
    public bool Cover(DateTimeOffset at, TimeZoneInfo zone)
    {
        var clock = TimeOnly.FromDateTime(TimeZoneInfo.ConvertTime(at, zone).DateTime);
        return From < To ? From <= clock && clock < To : From <= clock || clock < To;
    }

    /// <summary>The moment itself when it is not quiet; else the first whole minute after it that is not.</summary>
    /// <remarks>
    /// Looked for minute by minute: clocks are set on and back at whole minutes, at the edge of the quiet hours too, and every shorter
    /// way has a case for each.
    /// </remarks>
    public DateTimeOffset EndAfter(DateTimeOffset at, TimeZoneInfo zone)
    {
        if (!Cover(at, zone))
        {
            return at;
        }

        var minute = new DateTimeOffset(at.UtcTicks - (at.UtcTicks % TimeSpan.TicksPerMinute), TimeSpan.Zero);
        for (var i = 1; i < MostMinutes; i++)
        {
            if (!Cover(minute.AddMinutes(i), zone))
            {
                return minute.AddMinutes(i);
            }
        }

        return at; // Quiet all day long: nobody meant never.
    }
}
