using System.Collections.Immutable;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Periods;

/// <summary>A pump's figures over a period.</summary>
/// <param name="Pump">The pump.</param>
/// <param name="Starts">In the days with figures, as all counts and times here.</param>
/// <param name="RunSeconds">Of all runs.</param>
/// <param name="LongestRunSeconds">Within one day.</param>
/// <param name="DryTrips">Stops for want of water.</param>
/// <param name="DeliveredLitres">Unknown when it is on any of those days.</param>
/// <param name="LitresPerMinute">Mean over the runs.</param>
/// <param name="EnergyKwh">Unknown when it is on any of those days.</param>
/// <param name="WattHoursPerCubicMetre">Null without power, delivery or lift: nothing could be said of it.</param>
/// <param name="LeastWattHoursPerCubicMetre">What lifting alone takes, ρgH, for the warmest and lightest water; null when the lift is not given.</param>
public sealed record PumpPeriod(
    DeviceId Pump, int Starts, double RunSeconds, double LongestRunSeconds, int DryTrips,
    Estimate? DeliveredLitres, Estimate? LitresPerMinute, Estimate? EnergyKwh, Estimate? WattHoursPerCubicMetre, double? LeastWattHoursPerCubicMetre)
{
    /// <summary>Even the most it can be is less than lifting takes: the power, the lift or the probes' volumes are wrong.</summary>
    public bool IsImpossible => WattHoursPerCubicMetre?.High < LeastWattHoursPerCubicMetre;

    internal static PumpPeriod Of(Pump pump, IReadOnlyList<PumpDay> days)
    {
        var seconds = days.Sum(day => day.RunSeconds);
        var delivered = DaySums.Sum(days.Select(Delivered));
        var energy = DaySums.Sum(days.Select(day => (day.EnergyKwh, 0.0)));
        var least = LeastOf(pump);
        return new(
            pump.Id, days.Sum(day => day.Starts), seconds, days.Max(day => day.LongestRunSeconds), days.Sum(day => day.DryTrips), delivered,
            days.Count == 1 ? days[0].LitresPerMinute : seconds > 0 ? delivered * (60 / seconds) : null, energy,
            least is not null && energy is { } kwh && delivered is { Low: > 0 } litres ? DaySums.Ratio(kwh * 1000, litres * 0.001) : null, least);
    }

    /// <summary>Watt hours that lifting a cubic metre takes whatever the pump; null when the lift is not given.</summary>
    public static double? LeastOf(Pump pump) => pump.StaticLiftMetres is { } lift ? Lifting.EnergyFloor(lift, Water.Density(Water.WarmestCelsius)) : null;

    internal static (Estimate? Litres, double OwnVariance) Delivered(PumpDay day) => (day.DeliveredLitres, day.OwnVariance);
}

/// <summary>An overhead tank's figures over a period.</summary>
/// <param name="Tank">The tank.</param>
/// <param name="UsedLitres">Unknown when it is on any day with figures.</param>
/// <param name="LeakLitresPerHour">Mean; unknown likewise.</param>
/// <param name="SecondsBelowLowest">Unknown likewise.</param>
/// <param name="Known">Share of the period for which crossings account, 0 to 1.</param>
/// <param name="Availability">
/// Share of the time heard of with water above the lowest probe, 0 to 1; its bounds are what it would be over all the time, had the tank been
/// empty or not while nothing was heard. Null when nothing was.
/// </param>
public sealed record TankPeriod(
    DeviceId Tank, Estimate? UsedLitres, Estimate? LeakLitresPerHour, double? SecondsBelowLowest, double Known, Estimate? Availability)
{
    /// <param name="tank">The tank.</param>
    /// <param name="days">At least one.</param>
    /// <param name="missing">Days of the period before the last of these that have no figures.</param>
    internal static TankPeriod Of(Tank tank, IReadOnlyList<TankDay> days, int missing) => new(
        tank.Id, DaySums.Sum(days.Select(Used)), DaySums.Sum(days.Select(Leak)) * (1.0 / days.Count),
        days.All(day => day.SecondsBelowLowest is not null) ? days.Sum(day => day.SecondsBelowLowest!.Value) : null,
        days.Sum(day => day.Known * SecondsOf(day)) / (days.Sum(SecondsOf) + (missing * UsualSeconds)), AvailabilityOf(days));

    private const double UsualSeconds = 86_400;

    /// <summary>How long the day was, or is so far.</summary>
    private static double SecondsOf(TankDay day) => day.HeardSeconds + day.UnheardSeconds is { } seconds and > 0 ? seconds : UsualSeconds;

    internal static (Estimate? Litres, double OwnVariance) Used(TankDay day) => (day.UsedLitres, day.OwnVariance);

    /// <summary>Days learn of a leak from each other: all of the doubt is shared.</summary>
    internal static (Estimate? LitresPerHour, double OwnVariance) Leak(TankDay day) => (day.LeakLitresPerHour, 0);

    private static Estimate? AvailabilityOf(IReadOnlyList<TankDay> days)
    {
        var (heard, unheard, empty) = (0.0, 0.0, 0.0);
        foreach (var day in days)
        {
            if (day is { HeardSeconds: { } known, UnheardSeconds: { } unknown })
            {
                (heard, unheard, empty) = (heard + known, unheard + unknown, empty + Math.Min(known, day.SecondsBelowLowest ?? 0));
            }
        }

        var all = heard + unheard;
        return heard > 0 ? new(1 - (empty / heard), (heard - empty) / all, 1 - (empty / all)) : null;
    }
}

/// <summary>A site's figures over a period of local calendar days.</summary>
/// <param name="From">First day.</param>
/// <param name="To">Last day, included.</param>
/// <param name="Complete">The record spans every day of it, whole.</param>
/// <param name="DaysKnown">Days with figures.</param>
/// <param name="Known">Share of what has begun of it for which crossings account, 0 to 1, over all overhead tanks.</param>
/// <param name="Pumps">In the order of the plan; none without figures.</param>
/// <param name="Tanks">Overhead tanks, likewise.</param>
/// <param name="MeanDay">For comparing periods that are not equally long, or not over.</param>
public sealed record SitePeriod(
    DateOnly From, DateOnly To, bool Complete, int DaysKnown, double Known,
    ImmutableArray<PumpPeriod> Pumps, ImmutableArray<TankPeriod> Tanks, MeanDay MeanDay)
{
    /// <param name="plan">For names, order, residents and lifts.</param>
    /// <param name="from">First day.</param>
    /// <param name="to">Last day, included.</param>
    /// <param name="days">Those with figures, in order.</param>
    public static SitePeriod Of(SitePlan plan, DateOnly from, DateOnly to, IReadOnlyList<SiteDay> days)
    {
        var missing = days.Count == 0 ? 0 : days[^1].Date.DayNumber - from.DayNumber + 1 - days.Count;
        ImmutableArray<TankPeriod> tanks =
        [
            .. plan.Tanks.Select(tank => (tank, Days: days.SelectMany(day => day.Tanks).Where(t => t.Tank == tank.Id).ToList()))
                .Where(t => t.Days.Count > 0).Select(t => TankPeriod.Of(t.tank, t.Days, missing)),
        ];
        return new(
            from, to, days.Count == to.DayNumber - from.DayNumber + 1 && days.All(day => day.Complete), days.Count,
            tanks.IsEmpty ? 0 : tanks.Average(tank => tank.Known),
            [
                .. plan.Pumps.Select(pump => (pump, Days: days.SelectMany(day => day.Pumps).Where(p => p.Pump == pump.Id).ToList()))
                    .Where(p => p.Days.Count > 0).Select(p => PumpPeriod.Of(p.pump, p.Days)),
            ],
            tanks, MeanDay.Of(plan, days));
    }
}
