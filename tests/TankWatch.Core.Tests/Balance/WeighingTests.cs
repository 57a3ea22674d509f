using MathNet.Numerics;
using MathNet.Numerics.Integration;
using TankWatch.Core.Balance;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>The statistics behind the weighing: the library's against published tables first, then ours against the library's.</summary>
/// <remarks>Of CHECKS G the judgement uses no more than a median and the normal distribution; G10 and G11 are checked with the trials.</remarks>
public sealed class WeighingTests
{
    [Theory]
    [InlineData(0.5, 0.5204998778)] // [M: Abramowitz and Stegun, Handbook of Mathematical Functions, table 7.1]
    [InlineData(1.0, 0.8427007929)]
    [InlineData(1.5, 0.9661051465)]
    [InlineData(2.0, 0.9953222650)]
    public void The_librarys_error_function_is_that_of_the_tables(double x, double erf)
    {
        Assert.Equal(1 - erf, SpecialFunctions.Erfc(x), 1e-10);
        Assert.Equal(1 + erf, SpecialFunctions.Erfc(-x), 1e-10);
    }

    [Fact]
    public void Nine_tenths_of_a_normal_distribution_lie_within_the_factor_of_all_intervals() =>
        Assert.Equal(0.9, 1 - SpecialFunctions.Erfc(BalanceAccount.Ninety / Constants.Sqrt2), 1e-4); // [M: z of 0.95 is 1.6449 in any table]

    [Fact]
    public void A_median_is_not_moved_by_the_odd_value()
    {
        // CHECKS G7 [D]: the uranium data of NIST 1.3.5.17, median 201.37 with 245.57 among them.
        float[] uranium = [199.31f, 199.53f, 200.19f, 200.82f, 201.92f, 201.95f, 202.18f, 245.57f];
        Assert.Equal(201.37, new Sample([.. uranium]).Median!.Value, 1e-4);
        Assert.Equal(200.82, new Sample([.. uranium[..7]]).Median!.Value, 1e-4);
    }

    /// <summary>
    /// [D]: the log of the mean likelihood over the sizes that are possible beforehand, integrated by the library, against the closed form.
    /// </summary>
    [Theory]
    [InlineData(nameof(Change.Leak), 0.002, 0.3, 1)]
    [InlineData(nameof(Change.Leak), 0.02, 1.5, 1)]
    [InlineData(nameof(Change.Leak), 0.02, -0.3, 2)] // It would have to run backwards.
    [InlineData(nameof(Change.Leak), 0.02, -1.2, 1)] // Beyond the tail that is reckoned by its series.
    [InlineData(nameof(Change.Use), 300, -40, 1)]
    [InlineData(nameof(Change.Use), 300, 40, 0.7)]
    [InlineData(nameof(Change.Delivery), 2000, -300, 1.3)]
    [InlineData(nameof(Change.Decline), 4e6, -9000, 1)]
    [InlineData(nameof(Change.NightHabit), 0.01, 1, 1)]
    public void The_weight_of_a_change_is_its_mean_likelihood_over_all_sizes(string name, double weight, double pull, double scale)
    {
        var change = Enum.Parse<Change>(name);
        var filter = Filter(meanUse: 100);
        var usual = Changes.Of(change);
        var prior = usual.Share * (Changes.IsOutflow(change) || Changes.IsHabit(change) ? 100 : 1);
        double Likelihood(double size) => Math.Exp((((pull * size) - (0.5 * weight * size * size)) / scale) - (0.5 * size * size / (prior * prior)))
            / (prior * Math.Sqrt(2 * Math.PI)) * (usual.Sign == 0 ? 1 : size * usual.Sign > 0 ? 2 : 0);
        var (log, mean, spread) = Weighing.One(Told(change, weight, pull), change, filter, filter.MeanUse, scale);

        // In pieces, so that a narrow peak is not stepped over.
        var (from, step, sum) = (usual.Sign > 0 ? 0 : -6 * prior, prior / 50, 0.0);
        for (var at = from; at < (usual.Sign < 0 ? -step / 2 : 6 * prior); at += step)
        {
            sum += GaussLegendreRule.Integrate(Likelihood, at, at + step, 20);
        }

        // Beyond five deviations the tail is its first term, a twenty-fifth too much.
        Assert.Equal(Math.Log(sum), log, usual.Sign * mean / spread < -5 ? 0.04 : 1e-3);
        Assert.Equal(pull / scale * spread * spread, mean, 1e-6 * Math.Abs(mean));
        Assert.Equal(1 / Math.Sqrt((weight / scale) + (1 / (prior * prior))), spread, 1e-6 * spread);
    }

    [Fact]
    public void Shares_are_odds_over_the_sum_of_all_odds_and_one()
    {
        Span<Explanation> explanations = stackalloc Explanation[Changes.Count];
        Span<double> shares = stackalloc double[Changes.Count];
        for (var i = 0; i < Changes.Count; i++)
        {
            explanations[i] = new((Change)i, Math.Log(i + 1), 0, 0, 1);
        }

        BalanceChanges.Shares(explanations, shares);
        Assert.Equal(1.0 / 46, None(shares), 1e-12); // 1 + (1 + 2 + … + 9)
        Assert.Equal(9.0 / 46, shares[^1], 1e-12);

        // Odds that no number holds as such.
        explanations[0] = explanations[0] with { LogOdds = 2000 };
        BalanceChanges.Shares(explanations, shares);
        Assert.Equal(0, None(shares));
        Assert.Equal(1, shares[0]);

        // What the changes leave of certainty.
        static double None(ReadOnlySpan<double> shares) => 1 - shares.ToArray().Sum();
    }

    [Fact]
    public void Odds_of_a_change_are_summed_over_the_onsets_by_how_often_it_happens()
    {
        // [D]: three moments a year apart, each with weight 0, so that each explains what was seen as well as nothing does.
        var year = (long)(365.25 * TimeSpan.TicksPerDay);
        Onset[] onsets = [.. Enumerable.Range(1, 3).Select(i => Told(Change.Leak, 0, 0, i * year))];
        Span<Explanation> into = stackalloc Explanation[Changes.Count];
        Weighing.All(onsets, Filter(100), 1, 4 * year, into);
        foreach (var explanation in into)
        {
            Assert.Equal(Math.Log(3 * Changes.Of(explanation.Change).PerYear), explanation.LogOdds, 1e-9);
        }
    }

    private static BalanceFilter Filter(float meanUse)
    {
        var filter = new BalanceFilter(1, 0);
        filter.Mean.AsSpan(0, BalanceModel.Hours).Fill(meanUse);
        return filter;
    }

    private static Onset Told(Change change, double weight, double pull, long ticks = 1)
    {
        var sums = new float[Onset.SumsLength];
        (sums[Changes.Count + (int)change], sums[(2 * Changes.Count) + (int)change]) = ((float)weight, (float)pull);
        return new(ticks, 0, [], sums);
    }
}
