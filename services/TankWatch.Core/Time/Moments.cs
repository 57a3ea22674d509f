namespace TankWatch.Core.Time;

/// <summary>Comparing moments of which one may be unknown: the known one counts.</summary>
internal static class Moments
{
    public static DateTimeOffset? Earlier(DateTimeOffset? a, DateTimeOffset? b) => a is null || b < a ? b ?? a : a;

    public static DateTimeOffset? Later(DateTimeOffset? a, DateTimeOffset? b) => a is null || b > a ? b ?? a : a;
}
