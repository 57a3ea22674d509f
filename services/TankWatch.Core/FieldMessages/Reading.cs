using TankWatch.Core.Sites;

namespace TankWatch.Core.FieldMessages;

/// <summary>One value of one thing, as other message forms than our own bring it.</summary>
public abstract record ReadingValue
{
    public sealed record Flag(bool Value) : ReadingValue;

    /// <param name="Value">Finite.</param>
    public sealed record Number(double Value) : ReadingValue;

    public sealed record Text(string Value) : ReadingValue;
}

/// <summary>What a reading is about: the member of a field message that it becomes. Names are described in <c>docs/senml.md</c>.</summary>
/// <param name="Kind">Of the field message; null for the count itself, <c>boot</c> and <c>seq</c>.</param>
/// <param name="Device">The tank or pump; empty for what is about the unit.</param>
/// <param name="Member">Of the field message, or <see cref="WetMask"/>, <see cref="Running"/>; empty for a single probe.</param>
/// <param name="Probe">From 0, the lowest; -1 for all else.</param>
public readonly record struct ReadingTarget(MessageKind? Kind, string Device, string Member, int Probe = -1)
{
    /// <summary>A whole number, whose bit i says that probe i, counted from the lowest, is wet.</summary>
    public const string WetMask = "wet-mask";

    /// <summary>True or false, for the member <c>state</c>.</summary>
    public const string Running = "running";

    /// <summary>The names in words, for whoever wrote another.</summary>
    public const string InWords = "{tank}/wet, {tank}/wet-mask, {tank}/{probe}, {pump}/running, {pump}/cause, {pump}/mode, {pump}/volts, {pump}/amps, "
        + "{pump}/watts, {pump}/flowing, mains, volts, online, firmware, signal or battery";

    /// <summary>Reads a name such as <c>roof/wet</c>, <c>roof/low</c>, <c>p1/running</c> or <c>mains</c>.</summary>
    /// <param name="name">Any text.</param>
    /// <param name="findTank">The site's tanks by their ids, for the names of their probes.</param>
    /// <returns>Null for a name that means nothing here. The device need not exist.</returns>
    public static ReadingTarget? Find(string name, Func<string, Tank?> findTank)
    {
        var slash = name.IndexOf('/', StringComparison.Ordinal);
        if (slash < 0)
        {
            return OfUnit(name);
        }

        var (device, what) = (name[..slash], name[(slash + 1)..]);
        return what switch
        {
            "wet" or WetMask => new(MessageKind.Level, device, what),
            Running or "cause" or "mode" or "volts" or "amps" or "watts" => new(MessageKind.Pump, device, what),
            "flowing" => new(MessageKind.Inlet, device, what),
            _ => findTank(device) is { } tank && ProbeOf(tank, what) is >= 0 and var probe ? new(MessageKind.Level, device, "", probe) : null,
        };
    }

    private static ReadingTarget? OfUnit(string name) => name switch
    {
        "mains" or "volts" => new(MessageKind.Supply, "", name),
        "online" or "firmware" => new(MessageKind.Status, "", name),
        "signal" => new(MessageKind.Status, "", "signalDbm"),
        "battery" => new(MessageKind.Status, "", "batteryPercent"),
        "boot" or "seq" => new(null, "", name),
        _ => null,
    };

    /// <summary>By its name; where that cannot be written, by its number from 1, the lowest.</summary>
    private static int ProbeOf(Tank tank, string what)
    {
        for (var i = 0; i < tank.Probes.Length; i++)
        {
            if (tank.Probes[i].Name == what)
            {
                return i;
            }
        }

        return what is [>= '1' and <= '9'] && what[0] - '1' < tank.Probes.Length ? what[0] - '1' : -1;
    }
}
