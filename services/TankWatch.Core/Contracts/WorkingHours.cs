using System.Collections.Immutable;
using System.Diagnostics.CodeAnalysis;
using System.Globalization;

namespace TankWatch.Core.Contracts;

/// <summary>The same hours on some days of the week in a row.</summary>
/// <param name="First">Of the days.</param>
/// <param name="Last">Of the days, included; before <paramref name="First"/> in the week it is that of the week after.</param>
/// <param name="From">Minute of the local day, 0 to 1439.</param>
/// <param name="To">The first minute that counts no more, up to 1440; after <paramref name="From"/>.</param>
public sealed record WorkingSpan(DayOfWeek First, DayOfWeek Last, int From, int To)
{
    internal int Days => ((Last - First + 7) % 7) + 1;

    internal bool Covers(DateTimeOffset local) =>
        (local.DayOfWeek - First + 7) % 7 < Days && From <= WorkingHours.MinuteOf(local) && WorkingHours.MinuteOf(local) < To;
}

/// <summary>The hours in which the time of a contract runs.</summary>
/// <remarks>
/// A minute counts when the site's wall clock, as the minute begins, stands within the hours. So an hour that is lived twice counts twice
/// and one that is left out not at all: what is promised is what a person with a watch would measure. Every change of a clock and every
/// edge is at a whole minute, so that the sum of the pieces is that of the minutes.
/// </remarks>
/// <param name="Spans">At least one; they may overlap.</param>
public sealed record WorkingHours(ImmutableArray<WorkingSpan> Spans)
{
    /// <summary>The rule in words.</summary>
    public const string InWords = "'always', or days and hours such as 'Mon-Fri 08:00-18:00, Sat 09:00-13:00', at least an hour a week";

    private const int DayMinutes = 24 * 60;
    private const int LeastMinutes = 60; // A week. With it every target is reached within years, not never.

    private static readonly string[] Names = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];

    /// <summary>Every minute of every day.</summary>
    public static readonly WorkingHours Always = new([new(DayOfWeek.Monday, DayOfWeek.Sunday, 0, DayMinutes)]);

    public bool IsAlways => this == Always;

    /// <summary>Reads what <see cref="InWords"/> says.</summary>
    public static bool TryParse(string text, [NotNullWhen(true)] out WorkingHours? hours)
    {
        var spans = text == "always" ? [.. Always.Spans] : text.Split(',', StringSplitOptions.TrimEntries).Select(SpanOf).ToList();
        hours = spans.Count <= 14 && spans.All(span => span is not null) && spans.Sum(span => span!.Days * (span.To - span.From)) >= LeastMinutes
            ? new([.. spans.OfType<WorkingSpan>()]) : null;
        return hours is not null;
    }

    /// <summary>How much of [from, to) counts.</summary>
    public TimeSpan Between(DateTimeOffset from, DateTimeOffset to, TimeZoneInfo zone)
    {
        var counted = TimeSpan.Zero;
        for (var at = from; at < to;)
        {
            var end = EdgeAfter(at, zone);
            end = end < to ? end : to;
            counted += Cover(at, zone) ? end - at : TimeSpan.Zero;
            at = end;
        }

        return counted;
    }

    /// <summary>The first moment by which so much has counted.</summary>
    /// <param name="from">Where it begins to run.</param>
    /// <param name="counted">More than nothing.</param>
    /// <param name="zone">The site's.</param>
    public DateTimeOffset After(DateTimeOffset from, TimeSpan counted, TimeZoneInfo zone)
    {
        for (var at = from; ;)
        {
            var end = EdgeAfter(at, zone);
            if (Cover(at, zone))
            {
                if (end - at >= counted)
                {
                    return at + counted;
                }

                counted -= end - at;
            }

            at = end;
        }
    }

    public bool Cover(DateTimeOffset at, TimeZoneInfo zone)
    {
        var local = TimeZoneInfo.ConvertTime(at, zone);
        return Spans.Any(span => span.Covers(local));
    }

    public bool Equals(WorkingHours? other) => other is not null && Spans.SequenceEqual(other.Spans);

    public override int GetHashCode() => Spans.Length;

    /// <summary>As <see cref="TryParse"/> reads it.</summary>
    public override string ToString() => IsAlways ? "always" : string.Join(", ", Spans.Select(span =>
        $"{Names[(int)span.First]}{(span.Days == 1 ? "" : $"-{Names[(int)span.Last]}")} {Clock(span.From)}-{Clock(span.To)}"));

    internal static int MinuteOf(DateTimeOffset local) => (local.Hour * 60) + local.Minute;

    /// <summary>The next moment at which what counts may change: an edge of the hours, midnight, or a change of the clock.</summary>
    private DateTimeOffset EdgeAfter(DateTimeOffset at, TimeZoneInfo zone)
    {
        var local = TimeZoneInfo.ConvertTime(at, zone);
        var edge = Spans.SelectMany(span => (int[])[span.From, span.To]).Where(minute => minute > MinuteOf(local)).DefaultIfEmpty(DayMinutes).Min();
        var end = at + (TimeSpan.FromMinutes(edge) - local.TimeOfDay);
        return zone.GetUtcOffset(end.AddTicks(-1)) == local.Offset ? end : ClockChange(at, end, local.Offset, zone);
    }

    /// <summary>The whole minute in (from, to) at which the offset becomes another one; there is one change of the clock in a day at most.</summary>
    private static DateTimeOffset ClockChange(DateTimeOffset from, DateTimeOffset to, TimeSpan offset, TimeZoneInfo zone)
    {
        var (low, high) = (from.UtcTicks / TimeSpan.TicksPerMinute, to.UtcTicks / TimeSpan.TicksPerMinute);
        while (high - low > 1)
        {
            var middle = low + ((high - low) / 2);
            (low, high) = zone.GetUtcOffset(At(middle)) == offset ? (middle, high) : (low, middle);
        }

        return At(high);

        static DateTimeOffset At(long minute) => new(minute * TimeSpan.TicksPerMinute, TimeSpan.Zero);
    }

    private static WorkingSpan? SpanOf(string text)
    {
        if (text.Split(' ', StringSplitOptions.RemoveEmptyEntries) is not [var days, var hours] || hours.Split('-') is not [var from, var to])
        {
            return null;
        }

        var (first, last) = days.Split('-') is [var one, var other] ? (DayOf(one), DayOf(other)) : (DayOf(days), DayOf(days));
        return first >= 0 && last >= 0 && MinuteOf(from) is { } start && MinuteOf(to) is { } end && start < end
            ? new((DayOfWeek)first, (DayOfWeek)last, start, end) : null;
    }

    private static int DayOf(string name) => Array.IndexOf(Names, name);

    private static int? MinuteOf(string clock) => clock == "24:00" ? DayMinutes
        : TimeOnly.TryParseExact(clock, "HH:mm", CultureInfo.InvariantCulture, DateTimeStyles.None, out var time) ? (time.Hour * 60) + time.Minute : null;

    private static string Clock(int minute) => string.Create(CultureInfo.InvariantCulture, $"{minute / 60:00}:{minute % 60:00}");
}
