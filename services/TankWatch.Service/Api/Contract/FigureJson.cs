using System.ComponentModel;
using TankWatch.Core;
using TankWatch.Core.Observations;
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
    EstimateJson? DeliveredLitres, EstimateJson? LitresPerMinute, EstimateJson? EnergyKwh);

[Description("An overhead tank's figures over a period.")]
public sealed record TankFiguresJson(string Tank, EstimateJson? UsedLitres, EstimateJson? LeakLitresPerHour, double? SecondsBelowLowest);

[Description("The figures of a period of local calendar days, both ends included.")]
public sealed record PeriodJson(
    DateOnly From, DateOnly To,
    [property: Description("The record spans every day of the period, whole.")] bool Complete,
    [property: Description("Days of the period with figures.")] int DaysKnown,
    IReadOnlyList<PumpFiguresJson> Pumps, IReadOnlyList<TankFiguresJson> Tanks);

[Description("A period's figures beside those of the period before.")]
public sealed record SummaryJson(
    string Site,
    [property: Description("day, week (ISO 8601, from Monday) or month.")] string Period,
    PeriodJson Current, PeriodJson Previous);

[Description("What a tank's probes said at a moment.")]
public sealed record StepJson(
    DateTimeOffset At, string Tank,
    [property: Description("How many probes are wet, from the lowest; null when a probe is wet above a dry one.")] int? Step,
    [property: Description("One per probe, lowest first.")] IReadOnlyList<bool> Wet);

[Description("Steps, newest first, and the runs that touch the time asked for, newest first.")]
public sealed record HistoryJson(
    string Site, DateTimeOffset From, DateTimeOffset To, IReadOnlyList<StepJson> Steps, IReadOnlyList<RunJson> Runs,
    [property: Description("Give it as after for older steps; null at the end.")] string? Next);
