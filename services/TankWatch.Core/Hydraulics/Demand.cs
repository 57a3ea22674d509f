namespace TankWatch.Core.Hydraulics;

/// <summary>What people use and what a leak loses, before anything is learnt. Marks: [V] read in the source, [V-2nd] in a copy, [D] derived.</summary>
internal static class Demand
{
    /// <summary>Litres a person and day for dwellings with piped water and flushing: IS 1172:1993, foreword [V].</summary>
    public const double LitresPerPersonADay = 135;

    /// <summary>A lavatory that keeps running, litres per hour: at least 200 US gallons a day, EPA WaterSense [V-2nd].</summary>
    public const double RunningToiletLitresPerHour = 31.5;

    /// <summary>A night's hours in which next to nobody draws water [D]; use is least between midnight and four (McKenzie 1999, SANFLOW) [V].</summary>
    public static readonly TimeSpan QuietWindow = TimeSpan.FromHours(5);

    /// <summary>Mean use of a building, litres per hour.</summary>
    /// <param name="residents">At least 0.</param>
    public static double LitresPerHour(int residents) => residents * LitresPerPersonADay / 24;

    /// <summary>What is drawn in the quietest hour of a night without any leak, litres per hour.</summary>
    /// <param name="residents">At least 0.</param>
    /// <remarks>6 % of the people are up in that hour, and each flushes 10 litres once: McKenzie 1999, SANFLOW [V].</remarks>
    public static double NightLitresPerHour(int residents) => 0.06 * residents * 10;

    /// <summary>The smallest loss that moves the surface from just under one probe to the next within a window, litres per hour [D].</summary>
    /// <param name="band">Between the two probes.</param>
    /// <param name="window">Greater than zero.</param>
    public static double SmallestCrossing(Litres band, TimeSpan window) => band.Value / window.TotalHours;

    /// <summary>When a tank will be empty, known as its content is: between two volumes. Hours [D].</summary>
    /// <param name="low">The least it holds.</param>
    /// <param name="high">The most; right after a probe was crossed the same.</param>
    /// <param name="litresPerHour">Net draw, greater than 0.</param>
    public static (double Low, double High) HoursToEmpty(Litres low, Litres high, double litresPerHour) => (low.Value / litresPerHour, high.Value / litresPerHour);

    /// <summary>The same while the draw changes with the hours, and is itself known only so far.</summary>
    /// <param name="held">What it holds, litres, at least 0.</param>
    /// <param name="sureness">How many standard deviations of the draw the bounds stand off, at least 0.</param>
    /// <param name="leaving">Litres that leave within so many hours, and their variance; never falling.</param>
    /// <returns>Hours, at most two weeks; null when it may last longer.</returns>
    public static Estimate? HoursToEmpty(Estimate held, double sureness, Func<double, (double Litres, double Variance)> leaving) =>
        LastsHours(held.High, -sureness, leaving) is { } latest
            ? new(LastsHours(held.Value, 0, leaving) ?? latest, LastsHours(held.Low, sureness, leaving) ?? latest, latest) : null;

    private static double? LastsHours(double litres, double deviations, Func<double, (double Litres, double Variance)> leaving)
    {
        const double Longest = 14 * 24, Exact = 1 / 120.0;
        if (litres <= 0 || !IsGone(Longest))
        {
            return litres <= 0 ? 0 : null;
        }

        var (low, high) = (0.0, 1.0);
        while (!IsGone(high))
        {
            (low, high) = (high, Math.Min(Longest, 2 * high));
        }

        while (high - low > Exact)
        {
            var middle = (low + high) / 2;
            (low, high) = IsGone(middle) ? (low, middle) : (middle, high);
        }

        return (low + high) / 2;

        bool IsGone(double hours) => leaving(hours) is var (mean, variance) && mean + (deviations * Math.Sqrt(variance)) >= litres;
    }
}
