using MathNet.Numerics;

namespace TankWatch.Core.Balance;

/// <summary>How one change explains what was seen, at the onset that suits it best.</summary>
/// <param name="Change">Which.</param>
/// <param name="LogOdds">Against nothing having changed, over all onsets, what happens how often taken into account.</param>
/// <param name="Onset">Index of the best onset.</param>
/// <param name="Size">Mean, over onsets too: litres per hour; for use and delivery relative; for a growing leak and a decline in a day.</param>
/// <param name="Spread">Standard deviation of the size, its doubt of the onset included.</param>
internal readonly record struct Explanation(Change Change, double LogOdds, int Onset, double Size, double Spread);

/// <summary>Weighs all changes at all onsets against each other and against nothing having changed (Bayes factors, sizes integrated out).</summary>
internal static class Weighing
{
    /// <param name="onsets">Ascending.</param>
    /// <param name="filter">What is believed now.</param>
    /// <param name="scale">How much wilder the surprises are than they should be; a factor on their variance.</param>
    /// <param name="now">End of the last passage, ticks.</param>
    /// <param name="into">Receives one explanation a change.</param>
    public static void All(ReadOnlySpan<Onset> onsets, BalanceFilter filter, double scale, long now, Span<Explanation> into)
    {
        Span<double> logs = stackalloc double[onsets.Length];
        Span<double> means = stackalloc double[onsets.Length];
        Span<double> squares = stackalloc double[onsets.Length];
        Span<double> priors = stackalloc double[onsets.Length];
        for (var i = 0; i < onsets.Length; i++)
        {
            var until = i + 1 < onsets.Length ? onsets[i + 1].Ticks : now;
            priors[i] = Math.Log(Math.Max(1, until - onsets[i].Ticks) / (365.25 * TimeSpan.TicksPerDay));
        }

        var use = filter.MeanUse;
        for (var change = (Change)0; (int)change < Changes.Count; change++)
        {
            var (best, rate) = (0, Math.Log(Changes.Of(change).PerYear));
            for (var i = 0; i < onsets.Length; i++)
            {
                var (log, mean, deviation) = One(onsets[i], change, filter, use, scale);
                (logs[i], means[i], squares[i]) = (log + priors[i] + rate, mean, (mean * mean) + (deviation * deviation));
                best = logs[i] > logs[best] ? i : best;
            }

            var all = LogSum(logs);
            var (size, square) = (0.0, 0.0);
            for (var i = 0; i < onsets.Length; i++)
            {
                var share = Math.Exp(logs[i] - all);
                (size, square) = (size + (share * means[i]), square + (share * squares[i]));
            }

            into[(int)change] = new(change, all, best, size, Math.Sqrt(Math.Max(0, square - (size * size))));
        }
    }

    /// <summary>Whether any change may explain enough to be worth weighing: most of the time none comes near.</summary>
    public static bool IsWorthwhile(ReadOnlySpan<Onset> onsets, double scale)
    {
        foreach (var onset in onsets)
        {
            for (var change = (Change)0; (int)change < Changes.Count; change++)
            {
                var (weight, pull) = (onset.Weight(change), onset.Pull(change));
                if (pull * pull > 2 * scale * weight * Enough[(int)change])
                {
                    return true;
                }
            }
        }

        return false;
    }

    /// <summary>
    /// Gain in log likelihood below which no change is ever believed: odds of 16 to 1 are asked for, 40 days of a prior are a tenth of a year,
    /// and the sign is worth a factor of two.
    /// </summary>
    private static readonly double[] Enough =
        [.. Enumerable.Range(0, Changes.Count).Select(change => Math.Max(3, 4 - Math.Log(Changes.Of((Change)change).PerYear)))];

    /// <summary>The log Bayes factor of one change at one onset, and its size given that it is so.</summary>
    public static (double Log, double Size, double Spread) One(Onset onset, Change change, BalanceFilter filter, double use, double scale)
    {
        var (weight, pull) = (onset.Weight(change) / scale, onset.Pull(change) / scale);
        var usual = Changes.Of(change);
        var prior = usual.Share * (Changes.IsOutflow(change) || Changes.IsHabit(change) ? use : 1);
        var variance = 1 / (weight + (1 / (prior * prior)));
        var (mean, spread) = (pull * variance, Math.Sqrt(variance));
        var log = (0.5 * mean * mean / variance) - (0.5 * Math.Log(1 + (weight * prior * prior)));

        // What may have begun may also end: a found leak that stops is a change the other way.
        var sign = change is Change.Leak && filter.At(BalanceFilter.Leak, BalanceFilter.Leak) > 0 ? 0
            : change is Change.BackDrain && filter.At(BalanceFilter.BackDrain, BalanceFilter.BackDrain) > 0 ? 0 : usual.Sign;
        return (sign == 0 ? log : log + LogShare(sign * mean / spread), mean, spread);
    }

    /// <summary>Log of twice the share of a normal distribution that lies on the right side of zero.</summary>
    private static double LogShare(double z) => z > 5 ? Math.Log(2) : z < -5
        ? Math.Log(2 / (-z * Math.Sqrt(2 * Math.PI))) - (0.5 * z * z)
        : Math.Log(SpecialFunctions.Erfc(-z / Constants.Sqrt2));

    private static double LogSum(ReadOnlySpan<double> logs)
    {
        var most = double.NegativeInfinity;
        foreach (var log in logs)
        {
            most = Math.Max(most, log);
        }

        var sum = 0.0;
        foreach (var log in logs)
        {
            sum += Math.Exp(log - most);
        }

        return logs.IsEmpty ? double.NegativeInfinity : most + Math.Log(sum);
    }
}
