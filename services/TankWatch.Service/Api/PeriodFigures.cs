using TankWatch.Core;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api.Contract;

namespace TankWatch.Service.Api;

/// <summary>A kind of period, and the one that a day lies in.</summary>
/// <param name="Name">day, week or month.</param>
/// <param name="Around">First and last day, both included.</param>
internal sealed record Period(string Name, Func<DateOnly, (DateOnly From, DateOnly To)> Around)
{
    private static readonly Period[] All =
    [
        new("day", day => (day, day)),
        new("week", day =>
        {
            var monday = day.AddDays(-(((int)day.DayOfWeek + 6) % 7)); // ISO 8601.
            return (monday, monday.AddDays(6));
        }),
        new("month", day =>
        {
            var first = new DateOnly(day.Year, day.Month, 1);
            return (first, first.AddMonths(1).AddDays(-1));
        }),
    ];

    public static Period? Find(string name) => Array.Find(All, period => period.Name == name);
}

/// <summary>Adds up days. A quantity that is unknown on any day with figures is unknown for the period: a sum of the rest would look like less.</summary>
internal static class PeriodFigures
{
    /// <param name="plan">For the order of pumps and tanks.</param>
    /// <param name="from">First day.</param>
    /// <param name="to">Last day, included.</param>
    /// <param name="days">Those with figures.</param>
    public static PeriodJson Of(SitePlan plan, DateOnly from, DateOnly to, IReadOnlyList<SiteDay> days) => new(
        from, to,
        Complete: days.Count == to.DayNumber - from.DayNumber + 1 && days.All(day => day.Complete),
        DaysKnown: days.Count,
        [.. plan.Pumps.Select(pump => Of(pump, [.. days.SelectMany(day => day.Pumps).Where(p => p.Pump == pump.Id)])).OfType<PumpFiguresJson>()],
        [.. plan.Tanks.Select(tank => Of(tank, [.. days.SelectMany(day => day.Tanks).Where(t => t.Tank == tank.Id)])).OfType<TankFiguresJson>()]);

    private static PumpFiguresJson? Of(Pump pump, List<PumpDay> days)
    {
        if (days.Count == 0)
        {
            return null;
        }

        var runSeconds = days.Sum(day => day.RunSeconds);
        var delivered = Sum(days.Select(day => day.DeliveredLitres));
        return new(
            pump.Id.Value, days.Sum(day => day.Starts), Math.Round(runSeconds, 3), Math.Round(days.Max(day => day.LongestRunSeconds), 3),
            days.Sum(day => day.DryTrips), EstimateJson.Of(delivered, 1),
            EstimateJson.Of(days.Count == 1 ? days[0].LitresPerMinute : runSeconds > 0 ? delivered * (60 / runSeconds) : null, 2),
            EstimateJson.Of(Sum(days.Select(day => day.EnergyKwh)), 4));
    }

    private static TankFiguresJson? Of(Tank tank, List<TankDay> days) => days.Count == 0 ? null : new(
        tank.Id.Value, EstimateJson.Of(Sum(days.Select(day => day.UsedLitres)), 1),
        EstimateJson.Of(Sum(days.Select(day => day.LeakLitresPerHour)) * (1.0 / days.Count), 1),
        days.All(day => day.SecondsBelowLowest is not null) ? Math.Round(days.Sum(day => day.SecondsBelowLowest!.Value), 3) : null);

    private static Estimate? Sum(IEnumerable<Estimate?> quantities) =>
        quantities.Aggregate((Estimate?)new Estimate(0, 0, 0), (sum, next) => sum is { } a && next is { } b ? a + b : null);
}
