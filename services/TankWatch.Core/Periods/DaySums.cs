using TankWatch.Core.Timelines;

namespace TankWatch.Core.Periods;

/// <summary>
/// Adds up days. What days share does not cancel, so those parts of their bounds add up as they are: the delivery that all of them are reckoned
/// with, and the volumes at the probes. What is each day's own - its draws, its runs about their mean, the ripples at its crossings - adds up by
/// its variance. Shared doubt of early days is partly their own as well; taking it as shared errs to the wide side.
/// </summary>
internal static class DaySums
{
    /// <param name="days">A quantity of each day, and the part of its variance that is the day's own.</param>
    /// <returns>Null when any is unknown: a sum of the rest would look like less.</returns>
    public static Estimate? Sum(IEnumerable<(Estimate? Of, double OwnVariance)> days)
    {
        var (sum, own) = (new Estimate(0, 0, 0), 0.0);
        foreach (var (of, variance) in days)
        {
            if (of is not { } known)
            {
                return null;
            }

            (sum, own) = (sum + RunFlow.Narrowed(known, variance), own + variance);
        }

        return RunFlow.Widened(sum, own);
    }

    /// <summary>Of two quantities that know nothing of each other: their relative doubts add up by their squares.</summary>
    /// <param name="a">At least 0.</param>
    /// <param name="b">All greater than 0.</param>
    public static Estimate Ratio(Estimate a, Estimate b)
    {
        var ratio = a.Value / b.Value;
        var (less, more) = (Below(a) + Above(b), Above(a) + Below(b));
        return new(ratio, ratio * Math.Max(0, 1 - Math.Sqrt(less)), ratio * (1 + Math.Sqrt(more)));

        static double Below(Estimate e) => e.Value > 0 ? Math.Pow(1 - (e.Low / e.Value), 2) : 0;
        static double Above(Estimate e) => e.Value > 0 ? Math.Pow((e.High / e.Value) - 1, 2) : 0;
    }
}
