namespace TankWatch.Simulator.Faults;

/// <summary>One fault of one device over a span of time.</summary>
/// <param name="Kind">What goes wrong.</param>
/// <param name="Device">Id of the device; null takes the one its <see cref="FaultTarget"/> names.</param>
/// <param name="From">Onset, included.</param>
/// <param name="To">End, excluded; null lasts for ever.</param>
/// <param name="Size">In the unit the catalogue gives for the kind; null takes its default.</param>
/// <param name="Probe">Index of the probe, the lowest being 0; null takes the lowest, or of a stuck probe the middle one.</param>
public sealed record Fault(
    FaultKind Kind, string? Device, DateTimeOffset From, DateTimeOffset? To = null, double? Size = null, int? Probe = null)
{
    internal double EffectiveSize => Size ?? FaultCatalogue.Of(Kind).DefaultSize;
}
