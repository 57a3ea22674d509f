namespace TankWatch.Core;

/// <summary>A volume of water, or for a probe the volume its tank holds when the surface just touches it. Litres.</summary>
public readonly record struct Litres(double Value);

/// <summary>A flow. Litres per minute.</summary>
public readonly record struct LitresPerMinute(double Value)
{
    public Litres Over(TimeSpan time) => new(Value * time.TotalMinutes);
}

/// <summary>
/// A quantity with what is known of it: the best single value, and bounds that hold the truth nine times in ten.
/// An unknown quantity has no <see cref="Estimate"/>; it is null, never zero.
/// </summary>
/// <param name="Value">Best single value, in the unit the member's name carries.</param>
/// <param name="Low">5th percentile, at most <paramref name="Value"/>.</param>
/// <param name="High">95th percentile, at least <paramref name="Value"/>.</param>
public readonly record struct Estimate(double Value, double Low, double High)
{
    public static Estimate operator +(Estimate a, Estimate b) => Add(a, b);
    public static Estimate operator *(Estimate a, double factor) => Multiply(a, factor);

    /// <summary>Sums bounds directly: the errors of neighbouring runs share their causes, so they do not cancel.</summary>
    public static Estimate Add(Estimate a, Estimate b) => new(a.Value + b.Value, a.Low + b.Low, a.High + b.High);

    /// <param name="a">The quantity.</param>
    /// <param name="factor">At least 0, so that the bounds keep their order.</param>
    public static Estimate Multiply(Estimate a, double factor) => new(a.Value * factor, a.Low * factor, a.High * factor);
}
