namespace TankWatch.Core.Tests.Trials;

/// <summary>How likely a fault is to be found, by its size: a logistic curve over the logarithm of size.</summary>
internal sealed class DetectionCurve
{
    // A weak pull towards a flat curve: without it, trials that a size parts cleanly have no steepest curve.
    private const double Ridge = 0.02;
    private const int Rounds = 50;

    private readonly double _middle; // Of the logarithms, from which they count.
    private readonly double _smallest;
    private readonly double _largest;
    private double _intercept;
    private double _slope;

    private DetectionCurve(double middle, double smallest, double largest)
    {
        _middle = middle;
        _smallest = smallest;
        _largest = largest;
    }

    /// <returns>Null when all were found, none, or fewer than 8 tried: nothing to draw a curve through.</returns>
    public static DetectionCurve? Through(IEnumerable<(double Size, bool Found)> trials)
    {
        var all = trials.ToList();
        if (all.Count < 8 || all.TrueForAll(t => t.Found) || all.TrueForAll(t => !t.Found))
        {
            return null;
        }

        var middle = all.Average(t => Math.Log(t.Size));
        var points = all.Select(t => (At: Math.Log(t.Size) - middle, t.Found)).ToList();
        var curve = new DetectionCurve(middle, all.Min(t => t.Size), all.Max(t => t.Size));
        for (var round = 0; round < Rounds; round++)
        {
            curve.Improve(points);
        }

        return curve;
    }

    /// <returns>Null when that share lies beyond the sizes that were tried.</returns>
    public double? SizeAt(double share)
    {
        var size = Math.Exp(_middle + ((Math.Log(share / (1 - share)) - _intercept) / _slope));
        return _slope > 0 && size >= _smallest && size <= _largest ? size : null;
    }

    /// <summary>One step of Newton's method on the penalised likelihood.</summary>
    private void Improve(List<(double At, bool Found)> points)
    {
        var (g0, g1, h00, h01, h11) = (-Ridge * _intercept, -Ridge * _slope, Ridge, 0.0, Ridge);
        foreach (var (at, found) in points)
        {
            var likely = 1 / (1 + Math.Exp(-(_intercept + (_slope * at))));
            var miss = (found ? 1 : 0) - likely;
            var weight = likely * (1 - likely);
            (g0, g1) = (g0 + miss, g1 + (miss * at));
            (h00, h01, h11) = (h00 + weight, h01 + (weight * at), h11 + (weight * at * at));
        }

        var determinant = (h00 * h11) - (h01 * h01);
        _intercept += ((h11 * g0) - (h01 * g1)) / determinant;
        _slope += ((h00 * g1) - (h01 * g0)) / determinant;
    }
}
