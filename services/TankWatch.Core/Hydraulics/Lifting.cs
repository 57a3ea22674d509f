namespace TankWatch.Core.Hydraulics;

/// <summary>What lifting water takes: P = ρgQH/η (any text on pumps, such as Karassik's Pump Handbook, chapter 2) [M].</summary>
internal static class Lifting
{
    private const double LitresPerMinuteIn = 60_000; // One m³/s.

    /// <summary>Power that goes into the water alone, W.</summary>
    /// <param name="flow">What is lifted.</param>
    /// <param name="metres">The head, friction included where it counts.</param>
    /// <param name="density">kg/m³, see <see cref="Water.Density"/>.</param>
    public static double Watts(LitresPerMinute flow, double metres, double density) =>
        density * Water.Gravity * flow.Value / LitresPerMinuteIn * metres;

    /// <summary>What a set of this power delivers.</summary>
    /// <param name="watts">Electric input.</param>
    /// <param name="metres">The head, greater than 0.</param>
    /// <param name="efficiency">From the mains to the water, 0 to 1; at 1 nothing can deliver more.</param>
    /// <param name="density">kg/m³.</param>
    public static LitresPerMinute Delivery(double watts, double metres, double efficiency, double density) =>
        new(watts * efficiency / (density * Water.Gravity * metres) * LitresPerMinuteIn);

    /// <summary>The least energy that lifts one cubic metre, Wh: ρgH. A smaller figure means that the data are wrong.</summary>
    /// <param name="metres">The head.</param>
    /// <param name="density">kg/m³; that of the warmest water, where the floor must hold always.</param>
    public static double EnergyFloor(double metres, double density) => density * Water.Gravity * metres / 3600;
}
