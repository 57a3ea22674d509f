namespace TankWatch.Core.Hydraulics;

/// <summary>A pipe of one width that goes up as straight as it can: the only one whose width follows from its volume and the lift.</summary>
/// <param name="Volume">What it holds, greater than 0.</param>
/// <param name="Metres">Its length, greater than 0; at least the height between the waters.</param>
internal readonly record struct Riser(Litres Volume, double Metres)
{
    /// <summary>Drawn plastic or copper, the smoothest in use, m [M]: a rougher pipe takes more.</summary>
    public const double SmoothestRoughness = 1.5e-6;

    private const double LaminarBelow = 2300;

    /// <summary>Inner diameter, m: from V = π/4·d²·L.</summary>
    public double Diameter => Math.Sqrt(4 * Volume.Value / 1000 / (Math.PI * Metres));

    /// <summary>Head lost to friction along its length, m.</summary>
    /// <param name="flow">Greater than 0.</param>
    /// <param name="roughness">Of the wall, m.</param>
    /// <remarks>Darcy and Weisbach with the factor of Swamee and Jain [M], below Re 2300 with 64/Re; bends and valves come on top.</remarks>
    public double FrictionMetres(LitresPerMinute flow, double roughness)
    {
        var d = Diameter;
        var speed = flow.Value / 60_000 / (Math.PI / 4 * d * d);
        var reynolds = speed * d / Water.Viscosity;
        var log = Math.Log10((roughness / (3.7 * d)) + (5.74 / Math.Pow(reynolds, 0.9)));
        var factor = reynolds < LaminarBelow ? 64 / reynolds : 0.25 / (log * log);
        return factor * Metres / d * speed * speed / (2 * Water.Gravity);
    }
}
