using System.Globalization;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Pages.Strips;

/// <summary>What each mark of a strip says.</summary>
/// <param name="zone">The building's.</param>
/// <param name="day">The only times of which a clock alone tells enough; null where none does.</param>
public sealed class StripWords(TimeZoneInfo zone, StripWindow? day)
{
    public string Say(Tank tank, WaterStretch water) => $"{tank.Id} {Holds(tank, water)}, {Span(water.From, water.To)}";

    public string Say(Pump pump, RunMark run) => run switch
    {
        { Runs: > 1 } => $"{pump.Id} ran {run.Runs} times, {Words.Lasting(run.Lasted)} in all, {Span(run.From, run.To)}",
        { Running: true } => $"{pump.Id} running{Hand(run)} since {Clock(run.From)}",
        _ => $"{pump.Id} ran {Words.Lasting(run.To - run.From)}{Hand(run)}, {Span(run.From, run.To)}{Litres(run)}",
    };

    public string Say(Pump pump, TripMark trip) => $"{pump.Id} was stopped {Why(trip.Cause)}, {Clock(trip.At)}";

    public string Say(AlertMark alert) => alert.Open
        ? $"{alert.Summary} Since {Clock(alert.From)}."
        : $"{alert.Summary} From {Clock(alert.From)} to {Clock(alert.To)}; it is over.";

    public string Unknown(string device, Stretch gap) => $"nothing known of {device}, {Span(gap.From, gap.To)}";

    public string Supply(Stretch hours) => $"public supply expected, {Span(hours.From, hours.To)}";

    public string Clock(DateTimeOffset at) => TimeZoneInfo.ConvertTime(at, zone)
        .ToString(day is { } near && at >= near.From && at <= near.To ? "HH:mm" : "ddd d MMM HH:mm", CultureInfo.InvariantCulture);

    private string Span(DateTimeOffset from, DateTimeOffset to) => $"{Clock(from)} to {Clock(to)}";

    private static string Holds(Tank tank, WaterStretch water) => (water.Low, water.High) switch
    {
        (0, var high) => $"below its lowest probe, {Words.Number(high)} litres or less",
        var (low, high) when high >= tank.Capacity.Value => $"full, {Words.Number(low)} litres or more",
        var (low, high) => Words.Between(low, high),
    };

    private static string Hand(RunMark run) => run.Manual ? " by hand" : "";

    private static string Litres(RunMark run) => run.Litres is { } litres ? $", {Words.Number(litres.Low)} to {Words.Number(litres.High)} litres" : "";

    private static string Why(PumpCause cause) => cause switch
    {
        PumpCause.DryRun => "because no water came",
        PumpCause.UnderVoltage => "for low voltage",
        PumpCause.OverVoltage => "for high voltage",
        PumpCause.Overload => "for overload",
        PumpCause.Power => "by a power cut",
        _ => "by its protection",
    };
}
