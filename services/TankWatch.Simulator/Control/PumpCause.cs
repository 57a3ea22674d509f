namespace TankWatch.Simulator.Control;

/// <summary>Why a pump started or stopped, as its message spells it.</summary>
internal static class PumpCause
{
    public const string Level = "level";
    public const string TopUp = "top-up";
    public const string Manual = "manual";
    public const string SumpLow = "sump-low";
    public const string DryRun = "dry-run";
    public const string UnderVoltage = "under-voltage";
    public const string OverVoltage = "over-voltage";
    public const string Overload = "overload";
    public const string Power = "power";
    public const string Unknown = "unknown";
}
