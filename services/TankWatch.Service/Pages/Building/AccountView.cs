using TankWatch.Core.Periods;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Building;

/// <summary>What the water and the work come to: yesterday, and an average whole day of this week and of this month, against the time before.</summary>
/// <param name="Lead">One or two sentences; the only thing said before the first whole day.</param>
/// <param name="Columns">The periods.</param>
/// <param name="Rows">One a quantity that is known of any of them.</param>
/// <param name="Standard">What use a person is held against; null where the site file gives no residents.</param>
public sealed record AccountView(string Lead, IReadOnlyList<AccountColumn> Columns, IReadOnlyList<AccountRow> Rows, string? Standard)
{
    private sealed record Column(string Name, string Before, SitePeriod Current, SitePeriod Previous);

    internal static AccountView Of(SiteView site, SummaryReader summaries, DateOnly today)
    {
        Column[] columns =
        [
            Read("Yesterday", "the day before", "day", today.AddDays(-1)), Read("This week", "last week", "week", today),
            Read("This month", "last month", "month", today),
        ];
        if (columns.All(column => column.Current.MeanDay.Starts is null && column.Previous.MeanDay.Starts is null))
        {
            return new("The figures of a day come when it is over. There is no whole day yet.", [], [], null);
        }

        return new(
            LeadOf(columns[0].Current.MeanDay),
            [.. columns.Select((column, i) => new AccountColumn(column.Name, i == 0 ? null : WholeDays(column.Current.MeanDay)))],
            [.. AccountQuantity.All(site.Plan).Select(quantity => RowOf(quantity, columns)).OfType<AccountRow>()],
            site.Plan.Residents is { } people ? StandardOf(people) : null);

        Column Read(string name, string before, string period, DateOnly day)
        {
            var (current, previous) = summaries.Compare(site, Period.Find(period)!, day);
            return new(name, before, current, previous);
        }
    }

    private static AccountRow? RowOf(AccountQuantity quantity, Column[] columns)
    {
        var cells = columns.Select(column => (Now: quantity.Of(column.Current), Was: quantity.Of(column.Previous), column.Before)).ToList();
        return cells.TrueForAll(cell => cell.Now is null && cell.Was is null) ? null : new(
            quantity.Name,
            [.. cells.Select(cell => new AccountCell(cell.Now?.Text ?? Amounts.Unknown, cell.Was is { } was ? $"{cell.Before} {was.Brief}" : null))]);
    }

    private static string LeadOf(MeanDay yesterday)
    {
        if (yesterday.UsedLitres is not { Of: var used })
        {
            return "How much was used yesterday is not known.";
        }

        var person = yesterday.UsedLitresPerPerson is { Of: var each } ? $", {Words.Number(each.Value)} a person" : "";
        var leak = yesterday.LeakLitresPerHour is { Of: var bound } && AccountQuantity.IsNone(bound) ? $" There was {AccountQuantity.NoLeak(bound, "litres an hour")}." : "";
        return $"Yesterday {Words.Between(used.Low, used.High)} were used{person}.{leak}";
    }

    private static string WholeDays(MeanDay mean) => mean.Starts is { Days: var days } ? Amounts.Count(days, "whole day", "whole days") : "no whole day yet";

    private static string StandardOf(int people) =>
        $"The site file gives {Words.Number(people)} residents. Homes with piped water and flushing are planned for {Words.Number(MeanDay.StandardLitresPerPerson)} litres a person and day (IS 1172).";
}

/// <param name="Name">"This week".</param>
/// <param name="Known">How many whole days it rests on; null for a single day.</param>
public sealed record AccountColumn(string Name, string? Known);

public sealed record AccountRow(string Name, IReadOnlyList<AccountCell> Cells);

/// <param name="Text">The quantity, its bounds on a line of their own, and what else is to be said of it.</param>
/// <param name="Before">"last week 7 100"; null when it is not known of the time before.</param>
public sealed record AccountCell(string Text, string? Before);
