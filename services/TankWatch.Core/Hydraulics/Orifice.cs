namespace TankWatch.Core.Hydraulics;

/// <summary>A hole with a sharp edge, water on one side and air on the other: Q = Cd·A·√(2gh) (Torricelli; any text on hydraulics) [D].</summary>
internal static class Orifice
{
    /// <summary>Share of the ideal flow that passes a hole with a sharp edge [D].</summary>
    public const double Discharge = 0.61;

    private const double SecondsOfHourTimesLitres = 3600 * 1000;

    /// <summary>What runs out, litres per hour. It falls with the square root of the head: an emptying tank leaks ever slower.</summary>
    /// <param name="millimetres">Diameter of the hole.</param>
    /// <param name="metres">Of water above it.</param>
    public static double LitresPerHour(double millimetres, double metres) =>
        Discharge * Math.PI / 4 * millimetres * millimetres * 1e-6 * Math.Sqrt(2 * Water.Gravity * metres) * SecondsOfHourTimesLitres;

    /// <summary>Diameter of the round hole that would let this much out, mm: to give a leak a size that can be pictured.</summary>
    /// <param name="litresPerHour">At least 0.</param>
    /// <param name="metres">Of water above it, greater than 0.</param>
    public static double HoleMillimetres(double litresPerHour, double metres) => Math.Sqrt(litresPerHour / LitresPerHour(1, metres));
}
