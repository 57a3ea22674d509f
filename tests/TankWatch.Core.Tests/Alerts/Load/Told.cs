using TankWatch.Core.Alerts.Load;
using TankWatch.Core.Findings;

namespace TankWatch.Core.Tests.Alerts.Load;

/// <summary>What people were told, in seconds after a day began.</summary>
internal static class Told
{
    public static readonly DateTimeOffset Start = Scenario.Midnight;

    private static int alerts;

    /// <param name="second">When people were told and the condition was raised.</param>
    /// <param name="device">The source.</param>
    /// <param name="lastsSeconds">Null for what still stands.</param>
    /// <param name="priority">As told.</param>
    public static Annunciation At(double second, string device = "p1", double? lastsSeconds = 600, Priority priority = Priority.Low)
    {
        var at = Start.AddSeconds(second);
        return new(
            Interlocked.Increment(ref alerts).ToString("x8", System.Globalization.CultureInfo.InvariantCulture), 1,
            new(new("house"), new(device), FindingKind.NoStart), priority, at, at, lastsSeconds is { } lasts ? at.AddSeconds(lasts) : null);
    }

    /// <summary>Each of a source of its own.</summary>
    public static Annunciation[] Each(params double[] seconds) => [.. seconds.Select((second, i) => At(second, $"p{i}"))];

    public static AlertLoad Load(this IReadOnlyCollection<Annunciation> told, double days = 1) => LoadMeasure.Of(told, Start, Start.AddDays(days));
}
