namespace TankWatch.Core.Hydraulics;

/// <summary>
/// A tank that use empties and its pump fills, between the probe that starts the pump and the one that stops it. Wet-well design texts
/// (Sanks; Metcalf &amp; Eddy) [M] with the roles swapped: T = V/(Q − q) + V/q for a band V, a delivery Q and a use q [D].
/// </summary>
internal static class Cycle
{
    /// <summary>Longer than anything a building waits for; a file may state numbers that come to more than a span can hold.</summary>
    private static readonly TimeSpan Longest = TimeSpan.FromDays(10_000);

    /// <summary>How long the band takes to fill; at most 10 000 days.</summary>
    /// <param name="band">At least 0.</param>
    /// <param name="delivery">Greater than <paramref name="use"/>.</param>
    /// <param name="use">Drawn meanwhile, at least 0.</param>
    public static TimeSpan Fill(Litres band, LitresPerMinute delivery, LitresPerMinute use = default) => Span(band.Value / (delivery.Value - use.Value));

    /// <summary>From one start to the next at a steady use; at most 10 000 days.</summary>
    /// <param name="band">At least 0.</param>
    /// <param name="delivery">Greater than <paramref name="use"/>.</param>
    /// <param name="use">Greater than 0.</param>
    public static TimeSpan Whole(Litres band, LitresPerMinute delivery, LitresPerMinute use) => Fill(band, delivery, use) + Span(band.Value / use.Value);

    /// <summary>Starts per hour at the use that causes the most, half the delivery, where a cycle takes 4V/Q. More than that is never the water's doing.</summary>
    /// <param name="band">Greater than 0.</param>
    /// <param name="delivery">At least 0.</param>
    public static double MostStartsPerHour(Litres band, LitresPerMinute delivery) => 60 * delivery.Value / (4 * band.Value);

    /// <summary>The band below which use alone can start a pump more often than this.</summary>
    /// <param name="startsPerHour">Greater than 0.</param>
    /// <param name="delivery">At least 0.</param>
    public static Litres LeastBand(double startsPerHour, LitresPerMinute delivery) => new(60 * delivery.Value / (4 * startsPerHour));

    /// <summary>Minutes as a span, at most 10 000 days.</summary>
    public static TimeSpan Span(double minutes) => minutes < Longest.TotalMinutes ? TimeSpan.FromMinutes(minutes) : Longest;
}
