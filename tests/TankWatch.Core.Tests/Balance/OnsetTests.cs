using MathNet.Numerics.LinearAlgebra;
using TankWatch.Core.Balance;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>
/// The bank of onsets, which sees one surprise at a time, against generalized least squares over all passages at once, with an extra column
/// for the change (any text on regression). A failure prints its seed.
/// </summary>
public sealed class OnsetTests
{
    private const int Seed = 31_337, Systems = 3, Passages = 100;

    /// <param name="name">Of the change.</param>
    /// <param name="size">What is done to the random tank.</param>
    /// <param name="share">How near, against the spread of the size: numbers are packed, and of a delivery only the later unknowns are followed.</param>
    [Theory]
    [InlineData(nameof(Change.Leak), 30, 0.04)]
    [InlineData(nameof(Change.GrowingLeak), 5, 0.04)]
    [InlineData(nameof(Change.BackDrain), 30, 0.04)]
    [InlineData(nameof(Change.Use), 0.4, 0.04)]
    [InlineData(nameof(Change.EveningHabit), 100, 0.04)]
    [InlineData(nameof(Change.NightHabit), 100, 0.04)]
    [InlineData(nameof(Change.DawnHabit), 100, 0.04)]
    [InlineData(nameof(Change.Delivery), -0.2, 0.4)]
    [InlineData(nameof(Change.Decline), -0.01, 0.6)]
    public void Size_and_spread_of_a_change_are_those_of_least_squares_over_all_passages(string name, double size, double share)
    {
        var change = Enum.Parse<Change>(name);
        for (var seed = Seed; seed < Seed + Systems; seed++)
        {
            var lived = new Life(seed, change, size);
            var (best, spread) = lived.LeastSquares();
            var (weight, pull) = (lived.Onset.Weight(change), lived.Onset.Pull(change));
            Assert.True(Math.Abs((pull / weight) - best) < share * spread, $"seed {seed}: size {pull / weight}, by least squares {best} with a spread of {spread}");
            Assert.True(Math.Abs((1 / Math.Sqrt(weight)) - spread) < share * spread, $"seed {seed}: spread {1 / Math.Sqrt(weight)}, by least squares {spread}");
            Assert.True(Math.Abs(best - size) < 4 * spread, $"seed {seed}: {best} found of {size}");
        }
    }

    [Fact]
    public void Nothing_is_known_of_a_change_that_has_just_begun()
    {
        var onset = Onset.Begin(7, DenseFilter.Random(new(Seed)));
        Assert.All(Enumerable.Range(0, Changes.Count), i => Assert.Equal((0, 0), (onset.Weight((Change)i), onset.Pull((Change)i))));
        Assert.Equal(7, onset.At.UtcTicks);
    }

    /// <summary>A tank with a change in it from the first passage on: seen by the filter passage by passage, and kept for all at once.</summary>
    private sealed class Life
    {
        private readonly List<Vector<double>> weights = [];
        private readonly List<Matrix<double>> wandering = [];
        private readonly List<double> fastLeft = [], slowLeft = [], shown = [], seen = [], noise = [];
        private readonly Vector<double> mean;
        private readonly Matrix<double> covariance;
        private readonly Random random;
        private readonly Change change;
        private double clock;

        public Life(int seed, Change change, double size)
        {
            (random, this.change) = (new(seed), change);
            var filter = DenseFilter.Random(random);
            (mean, covariance) = (DenseFilter.Mean(filter), DenseFilter.Covariance(filter));
            (Onset, var deviation) = (Onset.Begin(0, filter), Jump(filter));
            var truth = mean.Clone();
            for (var i = 0; i < Passages; i++)
            {
                Pass(filter, deviation, truth, size);
            }
        }

        public Onset Onset { get; private set; }

        private void Pass(BalanceFilter filter, Vector<double> deviation, Vector<double> truth, double size)
        {
            var (filling, hours) = (random.Next(2) == 0, 0.3 + (2 * random.NextDouble()));
            var before = DenseFilter.Covariance(filter);
            var left = filter.Pass(hours);
            var step = Matrix<double>.Build.DenseIdentity(filter.Count);
            (step[BalanceFilter.Slow, BalanceFilter.Slow], step[BalanceFilter.Fast, BalanceFilter.Fast]) = left;
            wandering.Add(DenseFilter.Covariance(filter) - (step * before * step));
            slowLeft.Add(left.Slow);
            fastLeft.Add(left.Fast);
            Evolve(deviation, step, hours / 24, filter);
            (truth[BalanceFilter.Slow], truth[BalanceFilter.Fast]) = (truth[BalanceFilter.Slow] * left.Slow, truth[BalanceFilter.Fast] * left.Fast);

            var weight = Weights(filter, filling, hours);
            var sum = Vector<double>.Build.Dense(filter.Count, i => weight[i]);
            var litres = 40.0 * 40 * hours;
            weights.Add(sum);
            noise.Add(litres);
            shown.Add(sum * deviation);
            seen.Add((sum * truth) + (size * shown[^1]) + (Math.Sqrt(litres) * Normal()));
            Learn(filter, weight, seen[^1] - (sum * DenseFilter.Mean(filter)), litres, hours, left);
        }

        private void Learn(BalanceFilter filter, float[] weight, double surprise, double litres, double hours, (double Slow, double Fast) left)
        {
            var gain = new float[filter.Count];
            filter.Gain(weight, gain);
            var variance = litres + weight.Zip(gain, (w, g) => (double)w * g).Sum();
            var lesson = new Lesson
            {
                Weights = weight, Used = Enumerable.Range(0, filter.Count).Where(i => weight[i] != 0).ToArray(), Gain = gain,
                Inflows = filter.Mean.AsSpan(BalanceFilter.Inflow, filter.Columns), Surprise = surprise, Variance = variance, Lasted = 1, Hours = hours,
                LeftSlow = left.Slow, LeftFast = left.Fast,
            };
            Onset[] onsets = [Onset];
            Onset.After(onsets, filter.Count, lesson);
            Onset = onsets[0];
            filter.Correct(gain, surprise, variance);
        }

        private float[] Weights(BalanceFilter filter, bool filling, double hours)
        {
            var weight = new float[filter.Count];
            for (var rest = hours; rest > 0; rest -= 1)
            {
                weight[(int)clock % 24] -= (float)Math.Min(1, rest);
                clock += Math.Min(1, rest);
            }

            weight[BalanceFilter.Slow] = weight[BalanceFilter.Fast] = (float)(-100 * hours);
            weight[BalanceFilter.Leak] = (float)-hours;
            weight[BalanceFilter.BackDrain] = filling ? 0 : (float)-hours;
            weight[BalanceFilter.Inflow + random.Next(2)] = filling ? (float)hours : 0;
            weight[filter.Probe(0)] = random.Next(-1, 2) * 0.01f;
            return weight;
        }

        private Vector<double> Jump(BalanceFilter filter) => Vector<double>.Build.Dense(filter.Count, i => change switch
        {
            Change.Leak => i == BalanceFilter.Leak ? 1 : 0,
            Change.BackDrain => i == BalanceFilter.BackDrain ? 1 : 0,
            Change.Use => i == BalanceFilter.Slow ? 1 : 0,
            Change.Delivery => i >= BalanceFilter.Inflow && i < BalanceFilter.Inflow + filter.Columns ? filter.Mean[i] : 0,
            Change.EveningHabit or Change.NightHabit or Change.DawnHabit => i >= Changes.FirstHour(change) && i < Changes.FirstHour(change) + 3 ? 1 : 0,
            _ => 0,
        });

        private void Evolve(Vector<double> deviation, Matrix<double> step, double days, BalanceFilter filter)
        {
            deviation[BalanceFilter.Slow] *= step[BalanceFilter.Slow, BalanceFilter.Slow];
            deviation[BalanceFilter.Leak] += change == Change.GrowingLeak ? days : 0;
            for (var way = BalanceFilter.Inflow; change == Change.Decline && way < BalanceFilter.Inflow + filter.Columns; way++)
            {
                deviation[way] += days * filter.Mean[way];
            }
        }

        /// <summary>All passages as one regression: what they were expected to be, how they vary together, and the column of the change.</summary>
        public (double Size, double Spread) LeastSquares()
        {
            var together = Matrix<double>.Build.Dense(Passages, Passages);
            var surprises = Vector<double>.Build.Dense(Passages);
            var (spread, expected) = (covariance, mean);
            var ahead = new List<Vector<double>>();
            for (var k = 0; k < Passages; k++)
            {
                // Covariance of each earlier passage with the unknowns now, moved along.
                var step = Matrix<double>.Build.DenseIdentity(mean.Count);
                (step[BalanceFilter.Slow, BalanceFilter.Slow], step[BalanceFilter.Fast, BalanceFilter.Fast]) = (slowLeft[k], fastLeft[k]);
                (spread, expected) = ((step * spread * step) + wandering[k], step * expected);
                for (var j = 0; j < k; j++)
                {
                    ahead[j] = step * ahead[j];
                    together[j, k] = together[k, j] = ahead[j] * weights[k];
                }

                ahead.Add(spread * weights[k]);
                together[k, k] = (weights[k] * ahead[k]) + noise[k];
                surprises[k] = seen[k] - (weights[k] * expected);
            }

            var column = Vector<double>.Build.DenseOfEnumerable(shown);
            var solved = together.Cholesky();
            var information = column * solved.Solve(column);
            return (column * solved.Solve(surprises) / information, 1 / Math.Sqrt(information));
        }

        /// <summary>By the sum of twelve (common practice): normal enough.</summary>
        private double Normal() => Enumerable.Range(0, 12).Sum(_ => random.NextDouble()) - 6;
    }
}
