using System.Globalization;
using TankWatch.Core.Sites;
using TankWatch.Service.Api.Contract;

namespace TankWatch.Service.Pages.Building;

/// <summary>A period's figures beside those of the one before.</summary>
/// <param name="Period">day, week or month.</param>
/// <param name="Current">What the first column is headed.</param>
/// <param name="Previous">What the second column is headed.</param>
/// <param name="Groups">Pumps first, then the overhead tanks; sumps have none.</param>
public sealed record FiguresView(string Period, PeriodHead Current, PeriodHead Previous, IReadOnlyList<FigureGroup> Groups)
{
    internal static FiguresView Of(SummaryJson summary, SitePlan plan, DateOnly today)
    {
        var (now, before) = (summary.Current, summary.Previous);
        return new(
            summary.Period, PeriodHead.Of(summary.Period, now, today), PeriodHead.Of(summary.Period, before, today),
            [
                .. plan.Pumps.Select(pump => new FigureGroup($"Pump {pump.Id}", [.. Of(Find(now, pump), Find(before, pump))])),
                .. plan.Tanks.Where(tank => tank.Role == TankRole.Overhead).Select(tank => new FigureGroup($"Tank {tank.Id}", [.. Of(Find(now, tank), Find(before, tank))])),
            ]);
    }

    private static IEnumerable<FigureRow> Of(PumpFiguresJson? now, PumpFiguresJson? before)
    {
        yield return Row("Starts", figures => Amounts.Count(figures.Starts));
        yield return Row("Ran for", figures => Amounts.Span(figures.RunSeconds));
        yield return Row("Longest run", figures => Amounts.Span(figures.LongestRunSeconds));
        yield return Row("Stops because no water came", figures => Amounts.Count(figures.DryTrips));
        yield return Row("Delivered, litres", figures => Amounts.Of(figures.DeliveredLitres));
        yield return Row("Delivery, litres a minute", figures => Amounts.Of(figures.LitresPerMinute, 1));
        yield return Row("Energy, kWh", figures => Amounts.Of(figures.EnergyKwh, 2));

        FigureRow Row(string name, Func<PumpFiguresJson, string> of) => new(name, Or(now, of), Or(before, of));
    }

    private static IEnumerable<FigureRow> Of(TankFiguresJson? now, TankFiguresJson? before)
    {
        yield return Row("Used, litres", figures => Amounts.Of(figures.UsedLitres));
        yield return Row("Leak, litres an hour", figures => Amounts.Of(figures.LeakLitresPerHour));
        yield return Row("Below the lowest probe", figures => Amounts.Span(figures.SecondsBelowLowest));

        FigureRow Row(string name, Func<TankFiguresJson, string> of) => new(name, Or(now, of), Or(before, of));
    }

    private static string Or<T>(T? figures, Func<T, string> of) where T : class => figures is null ? Amounts.Unknown : of(figures);

    private static PumpFiguresJson? Find(PeriodJson period, Pump pump) => period.Pumps.FirstOrDefault(p => p.Pump == pump.Id.Value);

    private static TankFiguresJson? Find(PeriodJson period, Tank tank) => period.Tanks.FirstOrDefault(t => t.Tank == tank.Id.Value);
}

/// <param name="Name">"Tue 24 November 2026", "week 48, 23 to 29 November 2026", "November 2026".</param>
/// <param name="Known">What of it is known, where that is not all; else null.</param>
public sealed record PeriodHead(string Name, string? Known)
{
    internal static PeriodHead Of(string period, PeriodJson figures, DateOnly today)
    {
        var days = figures.To.DayNumber - figures.From.DayNumber + 1;
        var known = days == 1
            ? figures.DaysKnown == 0 ? "nothing known" : figures.Complete ? null : "known in part"
            : figures is { Complete: true } ? null : $"{Amounts.Count(figures.DaysKnown)} of {Amounts.Count(days)} days known";
        var inProgress = figures.From <= today && today <= figures.To;
        return new(NameOf(period, figures.From, figures.To), (inProgress, known) switch
        {
            (true, null or "known in part") => "so far",
            (true, _) => $"so far, {known}",
            _ => known,
        });
    }

    private static string NameOf(string period, DateOnly from, DateOnly to) => period switch
    {
        "day" => Text(from, "ddd d MMMM yyyy"),
        "month" => Text(from, "MMMM yyyy"),
        _ => string.Create(
            CultureInfo.InvariantCulture,
            $"week {ISOWeek.GetWeekOfYear(from.ToDateTime(TimeOnly.MinValue))}, {Text(from, from.Month == to.Month ? "%d" : "d MMMM")} to {Text(to, "d MMMM yyyy")}"),
    };

    private static string Text(DateOnly day, string format) => day.ToString(format, CultureInfo.InvariantCulture);
}

/// <param name="Device">"Pump p1".</param>
/// <param name="Rows">One a quantity.</param>
public sealed record FigureGroup(string Device, IReadOnlyList<FigureRow> Rows);

public sealed record FigureRow(string Name, string Current, string Previous);
