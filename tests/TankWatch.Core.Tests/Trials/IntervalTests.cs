using Xunit;

namespace TankWatch.Core.Tests.Trials;

/// <summary>The intervals of counts against published values.</summary>
public sealed class IntervalTests
{
    [Theory]
    [InlineData(81, 263, 0.2553, 0.3662)] // [M: CHECKS G10, Newcombe, Stat. Med. 17 (1998) 857]
    [InlineData(15, 148, 0.0624, 0.1605)]
    [InlineData(0, 20, 0, 0.1611)]
    [InlineData(1, 29, 0.0061, 0.1718)]
    public void A_share_has_the_interval_that_was_published_for_it(int hits, int trials, double low, double high)
    {
        var interval = Intervals.Wilson(hits, trials);
        Assert.Equal(low, interval.Low, 5e-5);
        Assert.Equal(high, interval.High, 5e-5);
    }

    [Theory]
    [InlineData(0, 0, 3.6889)] // [M: CHECKS G11, Garwood, Biometrika 28 (1936)]
    [InlineData(1, 0.0253, 5.5716)]
    [InlineData(3, 0.6187, 8.7673)]
    [InlineData(10, 4.7954, 18.3904)]
    [InlineData(20, 12.2165, 30.8884)]
    public void A_count_has_the_exact_interval_that_was_published_for_it(int count, double low, double high)
    {
        var interval = Intervals.Poisson(count);
        Assert.Equal(low, interval.Low, 5e-5);
        Assert.Equal(high, interval.High, 5e-5);
    }

    [Fact]
    public void A_curve_passes_its_half_where_as_many_are_found_as_missed()
    {
        // [D]: found from 20 upwards but for one, missed below but for one: by symmetry in the logarithm, half at 20.
        double[] missed = [5, 8, 10, 12.5, 32], found = [12.5, 32, 40, 50, 80];
        var curve = DetectionCurve.Through([.. missed.Select(s => (s, false)), .. found.Select(s => (s, true))])!;

        Assert.Equal(20, curve.SizeAt(0.5)!.Value, 0.001);
        Assert.True(curve.SizeAt(0.9) > 25);
        Assert.Null(curve.SizeAt(0.9999));
        Assert.Null(DetectionCurve.Through(found.Concat(missed).Select(s => (s, true))));
    }
}
