using System.Globalization;

namespace TankWatch.Service.Pages.Strips;

/// <summary>Where a time stands on a strip, as a share of its width: no pixels, so that one drawing fits every screen.</summary>
/// <param name="Window">From edge to edge.</param>
/// <param name="Zone">The building's.</param>
/// <param name="Mirrored">Time runs with the reading, from the right.</param>
internal sealed record StripScale(StripWindow Window, TimeZoneInfo Zone, bool Mirrored)
{
    /// <summary>Narrower marks would not be seen.</summary>
    private const double LeastWidth = 0.15;

    /// <summary>Left edge and width of a stretch, percent.</summary>
    public (string X, string Width) Span(DateTimeOffset from, DateTimeOffset to)
    {
        var (start, end) = (Share(from), Share(to));
        var width = Math.Max(end - start, LeastWidth);
        return (Percent(Mirrored ? 100 - start - width : start), Percent(width));
    }

    public string X(DateTimeOffset at) => Percent(Mirrored ? 100 - Share(at) : Share(at));

    public static string Percent(double share) => share.ToString("0.##", CultureInfo.InvariantCulture) + "%";

    private static string Label(DateTimeOffset at, string format) => at.ToString(Words.Say(format), PageLanguage.Current.Culture);

    private double Share(DateTimeOffset at) => (at - Window.From) / Window.Length * 100;

    /// <summary>A line of the time axis.</summary>
    /// <param name="At">Where.</param>
    /// <param name="Label">Written beside it.</param>
    /// <param name="Day">Midnight, where a local day begins.</param>
    /// <param name="Minor">May be left out where there is little room.</param>
    public readonly record struct Tick(DateTimeOffset At, string Label, bool Day, bool Minor);

    /// <summary>Local hours or days, as many as can be read.</summary>
    /// <param name="drawn">The time to mark, which may be more than the window.</param>
    public IEnumerable<Tick> Ticks(StripWindow drawn)
    {
        var hours = Window.Length.TotalHours switch { <= 2 => 0.25, <= 7 => 1, <= 14 => 2, <= 40 => 3, <= 100 => 12, _ => 24 };
        return hours < 24 ? Hours(drawn, hours) : Days(drawn, Math.Max(1, (int)Math.Round(Window.Length.TotalDays / 8)));
    }

    private IEnumerable<Tick> Hours(StripWindow drawn, double hours)
    {
        // Quarters of an hour of UTC are quarters of every local hour in use, whatever the offset.
        var step = TimeSpan.FromHours(Math.Min(hours, 1));
        step = step > TimeSpan.FromMinutes(15) ? TimeSpan.FromMinutes(15) : step;
        for (var at = new DateTimeOffset((drawn.From.UtcTicks / step.Ticks + 1) * step.Ticks, TimeSpan.Zero); at < drawn.To; at += step)
        {
            var local = TimeZoneInfo.ConvertTime(at, Zone);
            var ofDay = local.TimeOfDay;
            if (ofDay.Ticks % TimeSpan.FromHours(hours).Ticks == 0)
            {
                yield return ofDay == TimeSpan.Zero
                    ? new(at, Label(local, "format.tick-day"), Day: true, Minor: false)
                    : new(at, Label(local, hours < 1 ? "format.time" : "format.tick-hour"), Day: false, Minor: ofDay.Ticks / TimeSpan.FromHours(hours).Ticks % 2 == 1);
            }
        }
    }

    private IEnumerable<Tick> Days(StripWindow drawn, int days)
    {
        var last = TimeZoneInfo.ConvertTime(drawn.To, Zone).Date;
        for (var day = TimeZoneInfo.ConvertTime(drawn.From, Zone).Date.AddDays(1); day <= last; day = day.AddDays(1))
        {
            var at = Core.Time.LocalDays.StartOf(DateOnly.FromDateTime(day), Zone);
            var number = DateOnly.FromDateTime(day).DayNumber;
            if (number % days == 0 && at < drawn.To)
            {
                yield return new(at, Label(day, days > 2 ? "format.tick-date" : "format.tick-day"), Day: true, Minor: number / days % 2 == 1);
            }
        }
    }
}
