namespace TankWatch.Core.Balance;

/// <summary>
/// What is believed of a tank's water, as means and covariances of all unknowns together: use by hour, its level, deliveries, leaks.
/// </summary>
/// <remarks>
/// An extended Kalman filter (any text on estimation) over passages. Unknowns: use of each hour of the day, litres per hour; a factor for
/// each four hours of a weekend; the slow and the fast level of use, relative; a leak and a back-drain, litres per hour, which are held at
/// zero until one is found; how delivery changes by the hour, relative, likewise; each way in, litres per hour; the content at inner probes.
/// Arrays are written only by who made them, before anyone else sees them.
/// </remarks>
internal sealed class BalanceFilter
{
    public const int Weekend = BalanceModel.Hours, Slow = Weekend + BalanceModel.WeekendBlocks, Fast = Slow + 1;
    public const int Leak = Fast + 1, BackDrain = Leak + 1, Trend = BackDrain + 1, Inflow = Trend + 1;

    public readonly int Columns, Count;
    public readonly float[] Mean;

    // The lower triangle, row by row.
    public readonly float[] Covariance;
    public long LastTicks;

    public BalanceFilter(int columns, int innerProbes)
        : this(columns, new float[Inflow + columns + innerProbes], new float[Triangle(Inflow + columns + innerProbes)], 0)
    {
    }

    public BalanceFilter(int columns, float[] mean, float[] covariance, long lastTicks)
    {
        (Columns, Count, Mean, Covariance, LastTicks) = (columns, mean.Length, mean, covariance, lastTicks);
    }

    public static int Triangle(int count) => count * (count + 1) / 2;

    /// <summary>The factor of an hour of a weekend.</summary>
    public static int WeekendOf(int hour) => Weekend + (hour * BalanceModel.WeekendBlocks / BalanceModel.Hours);

    public int Probe(int inner) => Inflow + Columns + inner;

    public BalanceFilter Copy() => new(Columns, (float[])Mean.Clone(), (float[])Covariance.Clone(), LastTicks);

    public ref float At(int row, int column) =>
        ref Covariance[row >= column ? Triangle(row) + column : Triangle(column) + row];

    public double Spread(int unknown) => Math.Sqrt(Math.Max(0, At(unknown, unknown)));

    /// <summary>Mean use over the day at the present level, litres per hour.</summary>
    public double MeanUse
    {
        get
        {
            var sum = 0.0;
            foreach (var hour in Mean.AsSpan(0, BalanceModel.Hours))
            {
                sum += Math.Max(0, hour);
            }

            return Math.Max(0.01, sum / BalanceModel.Hours);
        }
    }

    /// <summary>Lets time pass: levels fade towards what is usual, and everything may have wandered a little.</summary>
    /// <param name="hours">Since the passage before, at least 0.</param>
    /// <returns>What is left of a slow and of a fast deviation.</returns>
    public (double Slow, double Fast) Pass(double hours)
    {
        var (slow, fast) = (Math.Exp(-hours / BalanceModel.SlowHours), Math.Exp(-hours / BalanceModel.FastHours));
        Fade(Slow, slow, BalanceModel.SlowSpread);
        Fade(Fast, fast, BalanceModel.FastSpread);
        if (At(Trend, Trend) > 0)
        {
            Follow(hours);
            Fade(Trend, Math.Exp(-hours / BalanceModel.TrendHours), 0);
        }

        var (mean, days) = (MeanUse, hours / 24);
        for (var i = 0; i < BalanceModel.Hours; i++)
        {
            var drift = BalanceModel.HourDrift * Math.Max(Mean[i], 0.1 * mean);
            At(i, i) += (float)(drift * drift * days);
        }

        for (var i = Inflow; i < Inflow + Columns; i++)
        {
            var drift = BalanceModel.InflowDrift * Mean[i];
            At(i, i) += (float)(drift * drift * days);
        }

        foreach (var outflow in (ReadOnlySpan<int>)[Leak, BackDrain])
        {
            // Held at zero as long as none was found.
            var drift = BalanceModel.OutflowDrift * mean;
            At(outflow, outflow) += At(outflow, outflow) > 0 ? (float)(drift * drift * days) : 0;
        }

        return (slow, fast);
    }

    private void Fade(int unknown, double left, double spread)
    {
        Mean[unknown] *= (float)left;
        foreach (ref var before in Covariance.AsSpan(Triangle(unknown), unknown))
        {
            before *= (float)left;
        }

        At(unknown, unknown) *= (float)(left * left);
        for (var i = unknown + 1; i < Count; i++)
        {
            Covariance[Triangle(i) + unknown] *= (float)left;
        }

        At(unknown, unknown) += (float)(spread * spread * (1 - (left * left)));
    }

    /// <summary>A delivery that changes by the hour moves on.</summary>
    private void Follow(double hours)
    {
        for (var c = Inflow; c < Inflow + Columns; c++)
        {
            var step = (float)(Mean[c] * hours);
            Mean[c] += step * Mean[Trend];

            // The trend's own share first: the rows below move it on.
            At(c, c) += (2 * step * At(c, Trend)) + (step * step * At(Trend, Trend));
            for (var i = 0; i < Count; i++)
            {
                At(c, i) += i == c ? 0 : step * At(Trend, i);
            }
        }
    }

    /// <summary>Covariance of all unknowns with a sum of them.</summary>
    public void Gain(ReadOnlySpan<float> weights, Span<float> gain)
    {
        gain.Clear();
        for (var j = 0; j < Count; j++)
        {
            var weight = weights[j];
            if (weight == 0)
            {
                continue;
            }

            Lanes.Add(gain[..(j + 1)], Covariance.AsSpan(Triangle(j), j + 1), weight);
            for (var i = j + 1; i < Count; i++)
            {
                gain[i] += weight * Covariance[Triangle(i) + j];
            }
        }
    }

    /// <summary>Takes an observed sum into account.</summary>
    /// <param name="gain">From <see cref="Gain"/>.</param>
    /// <param name="surprise">Observed less expected.</param>
    /// <param name="variance">Of the surprise.</param>
    public void Correct(ReadOnlySpan<float> gain, double surprise, double variance)
    {
        Lanes.Add(Mean, gain, (float)(surprise / variance));
        for (var i = 0; i < Count; i++)
        {
            Lanes.Add(Covariance.AsSpan(Triangle(i), i + 1), gain[..(i + 1)], (float)(-gain[i] / variance));
            ref var own = ref At(i, i);
            own = Math.Max(own, 0);
        }
    }
}
