using System.Collections.Immutable;

namespace TankWatch.Simulator.Water;

/// <summary>Litres that have crossed a site's bounds since its start, and what it holds.</summary>
/// <param name="Supplied">In from the public supply.</param>
/// <param name="FromBore">In through pumps that draw from no tank of the site.</param>
/// <param name="Used">Out through taps.</param>
/// <param name="Leaked">Out through leaks.</param>
/// <param name="Overflowed">Out over the brim.</param>
/// <param name="Drained">Out of a sump that was emptied.</param>
/// <param name="BackToBore">Out through a non-return valve into a bore.</param>
/// <param name="StoredAtStart">Tanks and risers at the start.</param>
/// <param name="Stored">Tanks and risers now.</param>
public sealed record WaterBalance(
    double Supplied, double FromBore, double Used, double Leaked, double Overflowed, double Drained, double BackToBore,
    double StoredAtStart, double Stored)
{
    /// <summary>Litres that came in and are neither gone nor there; 0 but for rounding.</summary>
    public double Missing => Supplied + FromBore - Used - Leaked - Overflowed - Drained - BackToBore - (Stored - StoredAtStart);
}

/// <param name="Running">Now.</param>
/// <param name="Starts">Since the start of the site, of every cause.</param>
/// <param name="DeliveredLitres">Into tanks.</param>
/// <param name="RunSeconds">Of running, dry or not.</param>
/// <param name="EnergyKwh">Electricity taken.</param>
/// <param name="BackDrainedLitres">Back out of tanks, through the resting pump.</param>
public sealed record PumpTruth(bool Running, int Starts, double DeliveredLitres, double RunSeconds, double EnergyKwh, double BackDrainedLitres);

/// <summary>What really is and was, for tests and for scoring; no message carries it.</summary>
/// <param name="At">The last event of the site, at most a tick before the time it was advanced to.</param>
/// <param name="Balance">Of the whole site since its start.</param>
/// <param name="TankLitres">By tank id.</param>
/// <param name="Pumps">By pump id.</param>
public sealed record SiteTruth(
    DateTimeOffset At,
    WaterBalance Balance,
    ImmutableSortedDictionary<string, double> TankLitres,
    ImmutableSortedDictionary<string, PumpTruth> Pumps);
