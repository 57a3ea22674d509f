namespace TankWatch.Core.Time;

/// <summary>Comparing moments of which one may be unknown: the known one counts.</summary>
internal static class Moments
{
    public static DateTimeOffset? Earlier(DateTimeOffset? a, DateTimeOffset? b) => a is not { } x || (b is { } y && y < x) ? b : a;

    public static DateTimeOffset? Later(DateTimeOffset? a, DateTimeOffset? b) => a is not { } x || (b is { } y && y > x) ? b : a;
}
