namespace TankWatch.Core.Tests.Trials;

/// <summary>95 % intervals of counts.</summary>
internal static class Intervals
{
    private const double Z = 1.959964; // Normal, two-sided 95 %.
    private const double Tail = 0.025;

    /// <summary>Of a share, by Wilson's score (Wilson, 1927).</summary>
    /// <param name="hits">Of <paramref name="trials"/>.</param>
    /// <param name="trials">At least 1.</param>
    public static (double Low, double High) Wilson(int hits, int trials)
    {
        var share = (double)hits / trials;
        var middle = share + (Z * Z / (2 * trials));
        var half = Z * Math.Sqrt((share * (1 - share) / trials) + (Z * Z / (4.0 * trials * trials)));
        var scale = 1 + (Z * Z / trials);
        return (Math.Max(0, (middle - half) / scale), Math.Min(1, (middle + half) / scale));
    }

    /// <summary>Of the mean of a Poisson count, exact (Garwood, 1936).</summary>
    public static (double Low, double High) Poisson(int count) => (
        count == 0 ? 0 : Bisect(mean => 1 - AtMost(count - 1, mean) < Tail, count),
        Bisect(mean => AtMost(count, mean) > Tail, count));

    /// <returns>Where the condition, true for a small mean and false for a large one, turns.</returns>
    private static double Bisect(Func<double, bool> isBelow, int count)
    {
        var (low, high) = (0.0, (3.0 * count) + 10);
        for (var i = 0; i < 60; i++)
        {
            var middle = (low + high) / 2;
            (low, high) = isBelow(middle) ? (middle, high) : (low, middle);
        }

        return low;
    }

    private static double AtMost(int count, double mean)
    {
        var (term, sum) = (Math.Exp(-mean), 0.0);
        for (var i = 0; i <= count; i++)
        {
            sum += term;
            term *= mean / (i + 1);
        }

        return sum;
    }
}
