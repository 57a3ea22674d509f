using System.Collections.Immutable;
using TankWatch.Core.Texts;
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

    public string Standing => Words.Say(Unit switch
    {
        { Silent: true } => "field-unit.silent",
        { HeardAt: null } => "field-unit.unheard",
        { Online: true } => "field-unit.online",
        { Online: false } => "field-unit.broken",
        _ => "field-unit.no-status",
    });

    public string Firmware => Unit.Firmware ?? Words.Say("field-unit.not-told");

    /// <summary>Steps as phones draw them (common practice, no source).</summary>
    public string Signal => Unit.SignalDbm is not { } dbm ? Words.Say("field-unit.not-told") : Words.Say(
        dbm switch { >= -70 => "field-unit.signal.strong", >= -85 => "field-unit.signal.fair", >= -100 => "field-unit.signal.weak", _ => "field-unit.signal.very-weak" },
        ("signal", $"{(dbm < 0 ? "−" : "")}{Words.Number(Math.Abs(dbm), "0")} dBm"));

    public string Battery => Unit.BatteryPercent is { } percent
        ? Words.Say(percent < WeakBattery ? "field-unit.battery.low" : "field-unit.battery", ("percent", Math.Round(percent))) : Words.Say("field-unit.battery.none");

    public string Clock => Unit.ClockSkew is not { } skew ? Amounts.Unknown
        : skew.Duration() < TimeSpan.FromSeconds(0.05) ? Words.Say("field-unit.clock.same")
        : Words.Say(skew > TimeSpan.Zero ? "field-unit.clock.behind" : "field-unit.clock.ahead", ("span", SpanOf(skew.Duration())));

    public string Messages => Words.Say("field-unit.messages", ("taken", Words.Number(Unit.Accepted)), ("refused", OrNone(Unit.Refused)), ("twice", OrNone(Unit.Duplicates)));

    /// <summary>What arrived of what it sent, and when it was noticed that something is missing.</summary>
    /// <param name="zone">On whose clock; null for how long ago alone.</param>
    public ImmutableArray<Said> Arrived(TimeZoneInfo? zone)
    {
        var arrived = Unit switch
        {
            { Accepted: 0 } => Words.Say("field-unit.arrived.nothing"),
            { Missing: 0 } => Words.Say("field-unit.arrived.all"),
            _ => Words.Say("field-unit.arrived.missing", ("n", Unit.Missing), ("share", Words.Number(Share, "0.0"))),
        };
        return (Unit.MissingSince, zone) switch
        {
            ({ } since, { } clock) => Said.Of("field-unit.arrived.noticed.at", ("arrived", arrived), ("ago", Said.Ago(since)), ("at", Said.Near(since, clock))),
            ({ } since, null) => Said.Of("field-unit.arrived.noticed", ("arrived", arrived), ("ago", Said.Ago(since))),
            _ => [arrived],
        };
    }

    /// <summary>Cut, not rounded: a share with something missing is never 100.</summary>
    private double Share => Math.Floor(1000.0 * Unit.Accepted / (Unit.Accepted + Unit.Missing)) / 10;

    private static string OrNone(long count) => count == 0 ? Words.Say("field-unit.none") : Words.Number(count);

    private static Phrase SpanOf(TimeSpan skew) =>
        skew.TotalSeconds < 90 ? Phrase.Of("amount.seconds", ("n", Words.Number(skew.TotalSeconds, "0.0"))) : Words.LastingOf(skew);
}
