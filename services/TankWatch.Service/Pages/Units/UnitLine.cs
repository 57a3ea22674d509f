using System.Globalization;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Units;

/// <summary>A field unit in words.</summary>
/// <param name="Unit">As it is known.</param>
/// <param name="SiteName">Of its building; may hold anything.</param>
public sealed record UnitLine(UnitView Unit, string SiteName)
{
    private const double WeakBattery = 20;

    /// <summary>How soon somebody should look at it: 0 silent, 1 gone or never heard, 2 something else is odd, 3 nothing known.</summary>
    public int Rank => Unit switch
    {
        { Silent: true } => 0,
        { Online: false } or { HeardAt: null } => 1,
        { Refused: > 0 } or { Missing: > 0 } or { BatteryPercent: < WeakBattery } => 2,
        _ => 3,
    };

    public string Standing => Unit switch
    {
        { Silent: true } => "silent",
        { HeardAt: null } => "never heard of",
        { Online: true } => "online",
        { Online: false } => "its connection is broken",
        _ => "it sent no status",
    };

    public string Firmware => Unit.Firmware ?? "not told";

    /// <summary>Steps as phones draw them (common practice, no source).</summary>
    public string Signal => Unit.SignalDbm is not { } dbm ? "not told" : string.Create(CultureInfo.InvariantCulture, $"{Strength(dbm)}, {(dbm < 0 ? "−" : "")}{Math.Abs(dbm):0} dBm");

    public string Battery => Unit.BatteryPercent is { } percent
        ? string.Create(CultureInfo.InvariantCulture, $"{percent:0} %{(percent < WeakBattery ? ", low" : "")}") : "none, or not told";

    public string Clock => Unit.ClockSkew is not { } skew ? "not known" : Math.Abs(skew.TotalSeconds) switch
    {
        < 0.05 => "as ours",
        < 90 => string.Create(CultureInfo.InvariantCulture, $"{Math.Abs(skew.TotalSeconds):0.0} s {Side(skew)} ours"),
        _ => $"{Words.Lasting(skew.Duration())} {Side(skew)} ours",
    };

    public string Arrived => Unit switch
    {
        { Accepted: 0 } => "nothing taken yet",
        { Missing: 0 } => "none missing",
        _ => string.Create(CultureInfo.InvariantCulture, $"{Amounts.Count(Unit.Missing, "message", "messages")} missing, {Share:0.0} % arrived"),
    };

    public string Messages => $"{Words.Number(Unit.Accepted)} taken, {OrNone(Unit.Refused)} refused, {OrNone(Unit.Duplicates)} came twice";

    /// <summary>Cut, not rounded: a share with something missing is never 100.</summary>
    private double Share => Math.Floor(1000.0 * Unit.Accepted / (Unit.Accepted + Unit.Missing)) / 10;

    private static string OrNone(long count) => count == 0 ? "none" : Words.Number(count);

    private static string Strength(double dbm) => dbm switch { >= -70 => "strong", >= -85 => "fair", >= -100 => "weak", _ => "very weak" };

    private static string Side(TimeSpan skew) => skew > TimeSpan.Zero ? "behind" : "ahead of";
}
