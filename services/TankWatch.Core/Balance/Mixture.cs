namespace TankWatch.Core.Balance;

/// <summary>Makes one change, or several that cannot be told apart yet, part of what is believed: the mean and covariance of the mixture.</summary>
internal static class Mixture
{
    public static void Believe(
        BalanceFilter filter, TankBalance balance, ReadOnlySpan<Explanation> explanations, ReadOnlySpan<double> shares, Func<Change, bool> together)
    {
        var total = 0.0;
        for (var i = 0; i < shares.Length; i++)
        {
            total += together((Change)i) ? shares[i] : 0;
        }

        Span<float> mean = stackalloc float[filter.Count];
        Span<float> one = stackalloc float[filter.Count];
        mean.Clear();
        for (var i = 0; i < shares.Length; i++)
        {
            if (together((Change)i))
            {
                Lanes.Add(mean, Shift(balance, explanations[i], one), (float)(shares[i] / total * explanations[i].Size));
            }
        }

        for (var i = 0; i < shares.Length; i++)
        {
            if (together((Change)i))
            {
                var (share, explanation) = (shares[i] / total, explanations[i]);
                Shift(balance, explanation, one);
                Spread(filter, one, share * explanation.Spread * explanation.Spread);
                for (var j = 0; j < one.Length; j++)
                {
                    one[j] = (float)(one[j] * explanation.Size) - mean[j];
                }

                Spread(filter, one, share);
            }
        }

        Lanes.Add(filter.Mean, mean, 1);
    }

    /// <summary>How far a change of size one moves all unknowns.</summary>
    private static Span<float> Shift(TankBalance balance, in Explanation explanation, Span<float> into)
    {
        balance.Onsets[explanation.Onset].Unpack(explanation.Change, into);
        if (explanation.Change == Change.Decline)
        {
            // Sizes are per day, the trend goes by the hour.
            into[BalanceFilter.Trend] = 1f / 24;
        }

        return into;
    }

    private static void Spread(BalanceFilter filter, ReadOnlySpan<float> along, double variance)
    {
        for (var i = 0; i < filter.Count; i++)
        {
            Lanes.Add(filter.Covariance.AsSpan(BalanceFilter.Triangle(i), i + 1), along[..(i + 1)], (float)(variance * along[i]));
        }
    }
}
