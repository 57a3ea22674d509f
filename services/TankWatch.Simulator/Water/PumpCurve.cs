namespace TankWatch.Simulator.Water;

/// <summary>
/// A centrifugal pump, H = n²·H0 - k·Q² (affinity laws; n is speed over rated speed), against a static lift and a riser that
/// branches to its tanks. Friction is taken as square in the flow.
/// </summary>
internal sealed class PumpCurve
{
    private const double PumpShare = 0.80;
    private const double RiserShare = 0.12;
    private const double BranchShare = 1 - PumpShare - RiserShare;

    private readonly double _shutOffMetres;
    private readonly double _sharedResistance;
    private readonly double _branchResistance;

    /// <param name="litresPerSecond">Delivery at rated speed against <paramref name="liftMetres"/> with every branch open.</param>
    /// <param name="liftMetres">Static lift, above 0.</param>
    /// <param name="branches">Tanks on the riser, at least 1.</param>
    /// <param name="shutOffOverLift">Shut-off head over <paramref name="liftMetres"/>, above 1; a solver assumes 4/3 for one known point.</param>
    public PumpCurve(double litresPerSecond, double liftMetres, int branches, double shutOffOverLift)
    {
        _shutOffMetres = shutOffOverLift * liftMetres;
        var resistance = (_shutOffMetres - liftMetres) / (litresPerSecond * litresPerSecond);
        _sharedResistance = (PumpShare + RiserShare) * resistance;
        _branchResistance = BranchShare * resistance * branches * branches; // Each branch carries its part of the flow.
    }

    /// <returns>Litres per second; 0 when no branch is open or the pump cannot lift so high.</returns>
    public double LitresPerSecond(double speed, double liftMetres, int openBranches)
    {
        var spareMetres = (speed * speed * _shutOffMetres) - liftMetres;
        return openBranches == 0 || spareMetres <= 0
            ? 0
            : Math.Sqrt(spareMetres / (_sharedResistance + (_branchResistance / (openBranches * openBranches))));
    }
}
