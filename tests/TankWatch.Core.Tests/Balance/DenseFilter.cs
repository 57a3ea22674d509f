using MathNet.Numerics.LinearAlgebra;
using TankWatch.Core.Balance;

namespace TankWatch.Core.Tests.Balance;

/// <summary>What a filter believes as plain matrices, and random filters to try it on.</summary>
internal static class DenseFilter
{
    public static Vector<double> Mean(BalanceFilter filter) => Vector<double>.Build.Dense(filter.Count, i => filter.Mean[i]);

    public static Matrix<double> Covariance(BalanceFilter filter) => Matrix<double>.Build.Dense(filter.Count, filter.Count, (i, j) => filter.At(i, j));

    /// <summary>A tank of 2 ways in and 1 inner probe, of which little is known yet, all of it entangled.</summary>
    /// <param name="random">Where chance comes from.</param>
    /// <param name="trend">Whether the delivery changes by the hour.</param>
    public static BalanceFilter Random(Random random, bool trend = false)
    {
        var filter = new BalanceFilter(2, 1);
        for (var i = 0; i < filter.Count; i++)
        {
            filter.Mean[i] = (float)(Scale(i) * (i is BalanceFilter.Leak or BalanceFilter.BackDrain or BalanceFilter.Trend ? 0 : random.NextDouble() + 0.5));
        }

        var roots = Matrix<double>.Build.Dense(filter.Count, filter.Count, (i, j) => (i == j ? 1 : 0.3 * (random.NextDouble() - 0.5)) * Spread(i));
        var covariance = roots * roots.Transpose();
        for (var i = 0; i < filter.Count; i++)
        {
            for (var j = 0; j <= i; j++)
            {
                filter.At(i, j) = IsHeld(i) || IsHeld(j) ? 0 : (float)covariance[i, j];
            }
        }

        filter.Mean[BalanceFilter.Trend] = trend ? -0.0004f : 0;
        return filter;

        bool IsHeld(int unknown) => unknown is BalanceFilter.Leak or BalanceFilter.BackDrain || (unknown is BalanceFilter.Trend && !trend);
        static double Spread(int unknown) => 0.1 * Scale(unknown) * (unknown < BalanceModel.Hours ? 3 : 1);
    }

    /// <summary>About how large an unknown is: litres per hour, shares, litres.</summary>
    private static double Scale(int unknown) =>
        unknown < BalanceModel.Hours ? 100 : unknown == BalanceFilter.Trend ? 0.01 : unknown < BalanceFilter.Inflow ? 0.5 : 2400;
}
