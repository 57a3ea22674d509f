namespace TankWatch.Core.Hydraulics;

/// <summary>What water itself brings to a calculation. Marks: [V-2nd] read in a copy, [M] from memory, [D] derived.</summary>
internal static class Water
{
    /// <summary>Standard gravity, m/s² (BIPM, SI Brochure) [M].</summary>
    public const double Gravity = 9.80665;

    /// <summary>What stands in where nobody measures: water in the ground and in shaded tanks is near it.</summary>
    public const double UsualCelsius = 20;

    /// <summary>The warmest that water on a roof in the sun is taken to be: the lightest, for floors that must hold always.</summary>
    public const double WarmestCelsius = 40;

    /// <summary>Kinematic viscosity at 20 °C, m²/s [M].</summary>
    public const double Viscosity = 1.004e-6;

    /// <summary>Density of clean water at the pressure of the air, kg/m³.</summary>
    /// <param name="celsius">0 to 40.</param>
    /// <remarks>Tanaka et al., Metrologia 38 (2001) 301-309, the CIPM's formula; coefficients [M].</remarks>
    public static double Density(double celsius)
    {
        const double a1 = -3.983035, a2 = 301.797, a3 = 522528.9, a4 = 69.34881, a5 = 999.974950;
        return a5 * (1 - ((celsius + a1) * (celsius + a1) * (celsius + a2) / (a3 * (celsius + a4))));
    }
}
