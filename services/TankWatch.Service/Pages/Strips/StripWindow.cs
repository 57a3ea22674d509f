namespace TankWatch.Service.Pages.Strips;

/// <summary>The time that a strip shows.</summary>
/// <param name="From">UTC, included.</param>
/// <param name="To">UTC, excluded; after <paramref name="From"/>.</param>
public readonly record struct StripWindow(DateTimeOffset From, DateTimeOffset To)
{
    /// <summary>Closer than this there is nothing more to see.</summary>
    public static readonly TimeSpan Shortest = TimeSpan.FromMinutes(10);

    /// <summary>Two months, the longest that is drawn at once.</summary>
    public static readonly TimeSpan Longest = TimeSpan.FromDays(62);

    public TimeSpan Length => To - From;

    public StripWindow Moved(double share) => new(From + (Length * share), To + (Length * share));

    /// <summary>Closer or wider about the middle, within the limits.</summary>
    public StripWindow Scaled(double factor)
    {
        var length = TimeSpan.FromTicks(Math.Clamp((long)(Length.Ticks * factor), Shortest.Ticks, Longest.Ticks));
        var from = From + ((Length - length) / 2);
        return new(from, from + length);
    }

    /// <summary>With so much on both sides that a drag has something to show at once; less of a long time, which is much to read.</summary>
    internal StripWindow WithMargins()
    {
        var margin = Length / (Length > TimeSpan.FromDays(8) ? 10 : 2);
        return new(From - margin, To + margin);
    }
}
