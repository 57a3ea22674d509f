namespace TankWatch.Core.Balance;

/// <summary>A part of an hour of the local day.</summary>
/// <param name="Hour">0 to 23.</param>
/// <param name="Length">Hours, greater than 0 and at most 1.</param>
/// <param name="IsWeekend">Of a Saturday or Sunday.</param>
internal readonly record struct PartOfHour(int Hour, double Length, bool IsWeekend);

/// <summary>The hours of the local day between two moments, one by one.</summary>
/// <remarks>One offset serves the whole stretch: an hour of clock change in a stretch across it is lost in the spread of use.</remarks>
internal struct LocalHours
{
    private const int Friday = 4, Week = 7; // Day 0 of the calendar was a Monday.

    private readonly long last;
    private long local;
    private int hour, day;

    public LocalHours(TimeZoneInfo zone, DateTimeOffset from, DateTimeOffset to)
    {
        var offset = zone.GetUtcOffset(from).Ticks;
        (local, last) = (from.UtcTicks + offset, to.UtcTicks + offset);
        (hour, day) = ((int)(local / TimeSpan.TicksPerHour % BalanceModel.Hours), (int)(local / TimeSpan.TicksPerDay % Week));
    }

    public PartOfHour Current { get; private set; }

    public readonly LocalHours GetEnumerator() => this;

    public bool MoveNext()
    {
        if (local >= last)
        {
            return false;
        }

        var next = Math.Min(last, local - (local % TimeSpan.TicksPerHour) + TimeSpan.TicksPerHour);
        Current = new(hour, (next - local) / (double)TimeSpan.TicksPerHour, day > Friday);
        local = next;
        if (++hour == BalanceModel.Hours)
        {
            (hour, day) = (0, (day + 1) % Week);
        }

        return true;
    }
}
