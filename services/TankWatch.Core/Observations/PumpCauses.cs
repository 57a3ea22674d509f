namespace TankWatch.Core.Observations;

/// <summary>The names of causes in messages and in the store: a format, never renamed.</summary>
public static class PumpCauses
{
    public static readonly string[] Names =
        ["unknown", "level", "top-up", "manual", "sump-low", "dry-run", "under-voltage", "over-voltage", "overload", "power"];

    public static string Of(PumpCause cause) => Names[(int)cause];

    /// <param name="name">One of <see cref="Names"/>.</param>
    /// <exception cref="ArgumentException">No such cause.</exception>
    public static PumpCause Parse(string name) => Array.IndexOf(Names, name) is >= 0 and var index
        ? (PumpCause)index : throw new ArgumentException($"no cause is named {name}", nameof(name));
}
