using MathNet.Numerics.LinearAlgebra;
using TankWatch.Core.Balance;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>The filter's packed arithmetic against the textbook's matrices, reckoned by the library on random systems.</summary>
public sealed class BalanceFilterTests
{
    private const int Seed = 90_210, Systems = 20;

    [Fact]
    public void A_correction_is_that_of_the_textbook()
    {
        // [D, any text on estimation: Kalman, Trans. ASME 82 (1960) 35]: x + P h (h' P h + r)^-1 e, P - P h h' P / (h' P h + r).
        for (var seed = Seed; seed < Seed + Systems; seed++)
        {
            var random = new Random(seed);
            var filter = DenseFilter.Random(random);
            var weights = Enumerable.Range(0, filter.Count).Select(_ => random.Next(3) == 0 ? (float)(random.NextDouble() - 0.5) : 0).ToArray();
            var (mean, covariance, sum) = (DenseFilter.Mean(filter), DenseFilter.Covariance(filter), Vector<double>.Build.Dense(filter.Count, i => weights[i]));
            var (surprise, noise) = (100 * (random.NextDouble() - 0.5), 1000 * random.NextDouble());
            var expected = covariance * sum;
            var variance = (sum * expected) + noise;

            var gain = new float[filter.Count];
            filter.Gain(weights, gain);
            filter.Correct(gain, surprise, variance);

            Near(expected, Vector<double>.Build.Dense(filter.Count, i => gain[i]), 1e-5, seed);
            Near(mean + (expected * (surprise / variance)), DenseFilter.Mean(filter), 1e-5, seed);
            Near(covariance - (expected.OuterProduct(expected) / variance), DenseFilter.Covariance(filter), seed);
        }
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void Time_that_passes_is_a_step_of_the_textbook(bool trend)
    {
        for (var seed = Seed; seed < Seed + Systems; seed++)
        {
            var random = new Random(seed);
            var filter = DenseFilter.Random(random, trend);
            var hours = 30 * random.NextDouble();
            var (mean, covariance) = (DenseFilter.Mean(filter), DenseFilter.Covariance(filter));
            var (step, noise) = Step(filter, hours, trend);

            var left = filter.Pass(hours);

            Assert.Equal((Math.Exp(-hours / BalanceModel.SlowHours), Math.Exp(-hours / BalanceModel.FastHours)), left);
            Near(step * mean, DenseFilter.Mean(filter), 1e-5, seed);
            Near((step * covariance * step.Transpose()) + Matrix<double>.Build.DenseOfDiagonalVector(noise), DenseFilter.Covariance(filter), seed);
        }
    }

    /// <summary>How the unknowns move on by themselves, and how much they wander.</summary>
    private static (Matrix<double> Step, Vector<double> Noise) Step(BalanceFilter filter, double hours, bool trend)
    {
        var step = Matrix<double>.Build.DenseIdentity(filter.Count);
        var noise = Vector<double>.Build.Dense(filter.Count);
        foreach (var (unknown, spread, memory) in new[]
            { (BalanceFilter.Slow, BalanceModel.SlowSpread, BalanceModel.SlowHours), (BalanceFilter.Fast, BalanceModel.FastSpread, BalanceModel.FastHours) })
        {
            step[unknown, unknown] = Math.Exp(-hours / memory);
            noise[unknown] = spread * spread * (1 - Math.Exp(-2 * hours / memory));
        }

        for (var way = BalanceFilter.Inflow; way < BalanceFilter.Inflow + filter.Columns; way++)
        {
            step[way, BalanceFilter.Trend] = trend ? filter.Mean[way] * hours : 0;
            noise[way] = Math.Pow(BalanceModel.InflowDrift * filter.Mean[way] * (1 + (trend ? hours * filter.Mean[BalanceFilter.Trend] : 0)), 2) * hours / 24;
        }

        step[BalanceFilter.Trend, BalanceFilter.Trend] = trend ? Math.Exp(-hours / BalanceModel.TrendHours) : 1;
        for (var hour = 0; hour < BalanceModel.Hours; hour++)
        {
            noise[hour] = Math.Pow(BalanceModel.HourDrift * Math.Max(filter.Mean[hour], 0.1 * filter.MeanUse), 2) * hours / 24;
        }

        return (step, noise);
    }

    [Fact]
    public void What_is_held_at_zero_stays_there_and_what_was_found_may_wander()
    {
        var filter = DenseFilter.Random(new(Seed));
        filter.At(BalanceFilter.Leak, BalanceFilter.Leak) = 4;
        filter.Pass(48);
        Assert.Equal(0, filter.At(BalanceFilter.BackDrain, BalanceFilter.BackDrain));
        Assert.Equal(4 + (2 * Math.Pow(BalanceModel.OutflowDrift * filter.MeanUse, 2)), filter.At(BalanceFilter.Leak, BalanceFilter.Leak), 1e-4);
    }

    [Fact]
    public void A_copy_is_its_own()
    {
        var filter = DenseFilter.Random(new(Seed));
        var copy = filter.Copy();
        copy.Pass(5);
        copy.Mean[0] += 1;
        Assert.NotEqual(filter.Mean[0], copy.Mean[0]);
        Assert.NotEqual(filter.At(0, 0), copy.At(0, 0));
    }

    private static void Near(Vector<double> expected, Vector<double> actual, double share, int seed)
    {
        for (var i = 0; i < expected.Count; i++)
        {
            Assert.True(Math.Abs(expected[i] - actual[i]) <= share * (Math.Abs(expected[i]) + (1e-3 * expected.AbsoluteMaximum())), $"seed {seed}: {i} is {actual[i]}, not {expected[i]}");
        }
    }

    /// <summary>Each against the spreads of its own two unknowns: they are of very different sizes.</summary>
    private static void Near(Matrix<double> expected, Matrix<double> actual, int seed)
    {
        for (var i = 0; i < expected.RowCount; i++)
        {
            for (var j = 0; j <= i; j++)
            {
                var room = 1e-5 * Math.Sqrt(Math.Max(0, expected[i, i]) * Math.Max(0, expected[j, j]));
                Assert.True(Math.Abs(expected[i, j] - actual[i, j]) <= room, $"seed {seed}: {i}, {j} is {actual[i, j]}, not {expected[i, j]}");
            }
        }
    }
}
