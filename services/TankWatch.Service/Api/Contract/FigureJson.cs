using System.ComponentModel;
using TankWatch.Core;
using TankWatch.Core.Observations;
using TankWatch.Core.Periods;
using TankWatch.Core.Timelines;

namespace TankWatch.Service.Api.Contract;

[Description("A quantity with bounds that hold the truth nine times in ten. An unknown quantity is null as a whole, never 0.")]
public sealed record EstimateJson(double Value, double Low, double High)
{
    /// <param name="estimate">Null when unknown.</param>
    /// <param name="decimals">As many as the probes can tell.</param>
    public static EstimateJson? Of(Estimate? estimate, int decimals) => estimate is { } e
        ? new(Math.Round(e.Value, decimals), Math.Round(e.Low, decimals), Math.Round(e.High, decimals)) : null;
}

[Description("One run of a pump.")]
public sealed record RunJson(
    string Pump,
    DateTimeOffset StartedAt,
    [property: Description("Null while it runs.")] DateTimeOffset? StoppedAt,
    string StartCause,
    [property: Description("Null while it runs.")] string? StopCause,
    EstimateJson? DeliveredLitres,
    EstimateJson? LitresPerMinute)
{
    public static RunJson Of(PumpRun run) => new(
        run.Pump.Value, run.StartedAt, run.StoppedAt, PumpCauses.Of(run.StartCause), run.StopCause is { } cause ? PumpCauses.Of(cause) : null,
        EstimateJson.Of(run.Delivered, 1), EstimateJson.Of(run.Delivery, 2));
}

[Description("A pump's figures over a period.")]
public sealed record PumpFiguresJson(
    string Pump, int Starts, double RunSeconds, double LongestRunSeconds, int DryTrips,
    EstimateJson? DeliveredLitres, EstimateJson? LitresPerMinute, EstimateJson? EnergyKwh,
    [property: Description("Null without power, delivery or lift.")] EstimateJson? WattHoursPerCubicMetre,
    [property: Description("What lifting alone takes, ρgH, for the warmest and lightest water: below it the data are wrong. Null without a lift.")]
    double? LeastWattHoursPerCubicMetre)
{
    public static PumpFiguresJson Of(PumpPeriod pump) => new(
        pump.Pump.Value, pump.Starts, Math.Round(pump.RunSeconds, 3), Math.Round(pump.LongestRunSeconds, 3), pump.DryTrips,
        EstimateJson.Of(pump.DeliveredLitres, 1), EstimateJson.Of(pump.LitresPerMinute, 2), EstimateJson.Of(pump.EnergyKwh, 4),
        EstimateJson.Of(pump.WattHoursPerCubicMetre, 1), pump.LeastWattHoursPerCubicMetre is { } least ? Math.Round(least, 1) : null);
}

[Description("An overhead tank's figures over a period.")]
public sealed record TankFiguresJson(
    string Tank, EstimateJson? UsedLitres, EstimateJson? LeakLitresPerHour, double? SecondsBelowLowest,
    [property: Description("Share of what has begun of the period for which crossings account, 0 to 1.")] double Known,
    [property: Description("Share, 0 to 1, of the time heard of with water above the lowest probe; low and high are what it would be over all the time, had the tank been empty or not while nothing was heard.")]
    EstimateJson? Availability)
{
    public static TankFiguresJson Of(TankPeriod tank) => new(
        tank.Tank.Value, EstimateJson.Of(tank.UsedLitres, 1), EstimateJson.Of(tank.LeakLitresPerHour, 1),
        tank.SecondsBelowLowest is { } seconds ? Math.Round(seconds, 3) : null, Math.Round(tank.Known, 3), EstimateJson.Of(tank.Availability, 5));
}

[Description("A quantity of a day on average, with bounds that hold it nine times in ten, over the whole days of the period on which it is known.")]
public sealed record DayMeanJson(double Value, double Low, double High, [property: Description("How many days those are.")] int Days)
{
    public static DayMeanJson? Of(DayMean? mean, int decimals) => mean is { Of: var of, Days: var days }
        ? new(Math.Round(of.Value, decimals), Math.Round(of.Low, decimals), Math.Round(of.High, decimals), days) : null;
}

[Description("What an average whole day of a period came to, over all pumps and overhead tanks: for comparing periods that are not equally long, or not over. Null where no whole day tells.")]
public sealed record MeanDayJson(
    DayMeanJson? DeliveredLitres, DayMeanJson? UsedLitres,
    [property: Description("Null too when the site file gives no residents.")] DayMeanJson? UsedLitresPerPerson,
    [property: Description("None found: 0, and the bound below which a leak could hide.")] DayMeanJson? LeakLitresPerHour,
    DayMeanJson? PumpHours, DayMeanJson? Starts)
{
    public static MeanDayJson Of(MeanDay mean) => new(
        DayMeanJson.Of(mean.DeliveredLitres, 1), DayMeanJson.Of(mean.UsedLitres, 1), DayMeanJson.Of(mean.UsedLitresPerPerson, 1),
        DayMeanJson.Of(mean.LeakLitresPerHour, 1), DayMeanJson.Of(mean.PumpHours, 3), DayMeanJson.Of(mean.Starts, 2));
}

[Description("The figures of a period of local calendar days, both ends included.")]
public sealed record PeriodJson(
    DateOnly From, DateOnly To,
    [property: Description("The record spans every day of the period, whole.")] bool Complete,
    [property: Description("Days of the period with figures.")] int DaysKnown,
    IReadOnlyList<PumpFiguresJson> Pumps, IReadOnlyList<TankFiguresJson> Tanks,
    [property: Description("Share of what has begun of the period for which crossings account, 0 to 1, over all overhead tanks.")] double Known,
    MeanDayJson MeanDay)
{
    public static PeriodJson Of(SitePeriod period) => new(
        period.From, period.To, period.Complete, period.DaysKnown, [.. period.Pumps.Select(PumpFiguresJson.Of)], [.. period.Tanks.Select(TankFiguresJson.Of)],
        Math.Round(period.Known, 3), MeanDayJson.Of(period.MeanDay));
}

[Description("A period's figures beside those of the period before.")]
public sealed record SummaryJson(
    string Site,
    [property: Description("day, week (ISO 8601, from Monday) or month.")] string Period,
    PeriodJson Current, PeriodJson Previous,
    [property: Description("Litres a person and day for dwellings with piped water and flushing, IS 1172:1993: to hold use against.")] double StandardLitresPerPerson);

[Description("What a tank's probes said at a moment.")]
public sealed record StepJson(
    DateTimeOffset At, string Tank,
    [property: Description("How many probes are wet, from the lowest; null when a probe is wet above a dry one.")] int? Step,
    [property: Description("One per probe, lowest first.")] IReadOnlyList<bool> Wet);

[Description("Steps, newest first, and the runs that touch the time asked for, newest first.")]
public sealed record HistoryJson(
    string Site, DateTimeOffset From, DateTimeOffset To, IReadOnlyList<StepJson> Steps, IReadOnlyList<RunJson> Runs,
    [property: Description("Give it as after for older steps; null at the end.")] string? Next);
