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
                .. plan.Pumps.Select(pump => new FigureGroup(Words.Say("building.group.pump", ("id", pump.Id.Value)), [.. Of(Find(now, pump), Find(before, pump))])),
                .. plan.Tanks.Where(tank => tank.Role == TankRole.Overhead).Select(tank => new FigureGroup(Words.Say("building.group.tank", ("id", tank.Id.Value)), [.. Of(Find(now, tank), Find(before, tank))])),
            ]);
    }

    private static IEnumerable<FigureRow> Of(PumpFiguresJson? now, PumpFiguresJson? before)
    {
        yield return Row("building.figure.starts", figures => Amounts.Count(figures.Starts));
        yield return Row("building.figure.ran", figures => Amounts.Span(figures.RunSeconds));
        yield return Row("building.figure.longest", figures => Amounts.Span(figures.LongestRunSeconds));
        yield return Row("building.figure.dry", figures => Amounts.Count(figures.DryTrips));
        yield return Row("building.figure.delivered", figures => Amounts.Of(figures.DeliveredLitres));
        yield return Row("building.figure.rate", figures => Amounts.Of(figures.LitresPerMinute, 1));
        yield return Row("building.figure.energy", figures => Amounts.Of(figures.EnergyKwh, 2));

        FigureRow Row(string key, Func<PumpFiguresJson, string> of) => new(Words.Say(key), Or(now, of), Or(before, of));
    }

    private static IEnumerable<FigureRow> Of(TankFiguresJson? now, TankFiguresJson? before)
    {
        yield return Row("building.figure.used", figures => Amounts.Of(figures.UsedLitres));
        yield return Row("building.figure.leak", figures => Amounts.Of(figures.LeakLitresPerHour));
        yield return Row("building.figure.below", figures => Amounts.Span(figures.SecondsBelowLowest));

        FigureRow Row(string key, Func<TankFiguresJson, string> of) => new(Words.Say(key), Or(now, of), Or(before, of));
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
        var inPart = days == 1 && figures is { Complete: false, DaysKnown: > 0 };
        var known = days > 1 && !figures.Complete ? Words.Say("building.head.days", ("n", figures.DaysKnown), ("all", days))
            : days == 1 && figures.DaysKnown == 0 ? Words.Say("building.head.nothing")
            : null;
        var inProgress = figures.From <= today && today <= figures.To;
        return new(NameOf(period, figures.From, figures.To), (inProgress, known) switch
        {
            (true, null) => Words.Say("building.head.so-far"),
            (true, { } part) => Words.Say("building.head.so-far.known", ("known", part)),
            _ => inPart ? Words.Say("building.head.part") : known,
        });
    }

    private static string NameOf(string period, DateOnly from, DateOnly to) => period switch
    {
        "day" => Words.Day(from, "format.date"),
        "month" => Words.Day(from, "format.month"),
        _ => Words.Say(
            "building.head.week", ("n", ISOWeek.GetWeekOfYear(from.ToDateTime(TimeOnly.MinValue))),
            ("from", Words.Day(from, from.Month == to.Month ? "format.day-number" : "format.day-month")), ("to", Words.Day(to, "format.day-month-year"))),
    };
}

/// <param name="Device">"Pump p1".</param>
/// <param name="Rows">One a quantity.</param>
public sealed record FigureGroup(string Device, IReadOnlyList<FigureRow> Rows);

public sealed record FigureRow(string Name, string Current, string Previous);
