using TankWatch.Core.Hydraulics;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Periods;

/// <summary>A quantity of a day on average.</summary>
/// <param name="Of">The mean, with bounds that hold it nine times in ten.</param>
/// <param name="Days">Whole days of the period on which it is known, at least 1; those alone count.</param>
public readonly record struct DayMean(Estimate Of, int Days);

/// <summary>What an average whole day of a period came to, over all pumps and overhead tanks. Each is null when no whole day tells.</summary>
/// <param name="DeliveredLitres">By all pumps.</param>
/// <param name="UsedLitres">All that left the overhead tanks.</param>
/// <param name="UsedLitresPerPerson">Null too when the site file does not give the residents.</param>
/// <param name="LeakLitresPerHour">Of all overhead tanks together; none found: 0, and the bound below which one could hide.</param>
/// <param name="PumpHours">Of all pumps together, as their units reported them.</param>
/// <param name="Starts">Likewise.</param>
public sealed record MeanDay(
    DayMean? DeliveredLitres, DayMean? UsedLitres, DayMean? UsedLitresPerPerson, DayMean? LeakLitresPerHour, DayMean? PumpHours, DayMean? Starts)
{
    /// <summary>To hold use against: <see cref="Demand.LitresPerPersonADay"/>.</summary>
    public const double StandardLitresPerPerson = Demand.LitresPerPersonADay;

    internal static MeanDay Of(SitePlan plan, IReadOnlyList<SiteDay> days)
    {
        var whole = days.Where(day => day.Complete).ToList();
        var used = Mean(whole, day => day.Tanks.Select(TankPeriod.Used));
        return new(
            Mean(whole, day => day.Pumps.Select(PumpPeriod.Delivered)), used,
            plan.Residents is { } people && used is { } all ? all with { Of = all.Of * (1.0 / people) } : null,
            Mean(whole, day => day.Tanks.Select(TankPeriod.Leak)),
            Mean(whole, day => day.Pumps.Select(pump => Counted(pump.RunSeconds / 3600))),
            Mean(whole, day => day.Pumps.Select(pump => Counted(pump.Starts))));
    }

    private static (Estimate?, double) Counted(double value) => (new Estimate(value, value, value), 0);

    /// <summary>Over the days on which it is known of every pump, or every tank; there is at least one.</summary>
    private static DayMean? Mean(IEnumerable<SiteDay> days, Func<SiteDay, IEnumerable<(Estimate? Of, double OwnVariance)>> of)
    {
        var known = days.Select(day => of(day).ToList()).Where(parts => parts.Count > 0 && parts.All(part => part.Of is not null)).ToList();
        return known.Count > 0 && DaySums.Sum(known.SelectMany(parts => parts)) is { } sum ? new(sum * (1.0 / known.Count), known.Count) : null;
    }
}
