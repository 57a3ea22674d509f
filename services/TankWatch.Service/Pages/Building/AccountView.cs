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
    /// <param name="Name">Key of its text, as the next.</param>
    /// <param name="Before">"last week", with a gap for a value.</param>
    /// <param name="Current">Its figures.</param>
    /// <param name="Previous">Those of the time before.</param>
    private sealed record Column(string Name, string Before, SitePeriod Current, SitePeriod Previous);

    internal static AccountView Of(SiteView site, SummaryReader summaries, DateOnly today)
    {
        Column[] columns =
        [
            Read("account.yesterday", "account.before.day", "day", today.AddDays(-1)), Read("account.week", "account.before.week", "week", today),
            Read("account.month", "account.before.month", "month", today),
        ];
        if (columns.All(column => column.Current.MeanDay.Starts is null && column.Previous.MeanDay.Starts is null))
        {
            return new(Words.Say("account.none"), [], [], null);
        }

        return new(
            LeadOf(columns[0].Current.MeanDay),
            [.. columns.Select((column, i) => new AccountColumn(Words.Say(column.Name), i == 0 ? null : WholeDays(column.Current.MeanDay)))],
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
            [.. cells.Select(cell => new AccountCell(cell.Now?.Text ?? Amounts.Unknown, cell.Was is { } was ? Words.Say(cell.Before, ("value", was.Brief)) : null))]);
    }

    private static string LeadOf(MeanDay yesterday)
    {
        if (yesterday.UsedLitres is not { Of: var used })
        {
            return Words.Say("account.lead.unknown");
        }

        var amount = Words.Between(used.Low, used.High);
        var lead = yesterday.UsedLitresPerPerson is { Of: var each }
            ? Words.Say("account.lead.person", ("amount", amount), ("each", Math.Round(each.Value))) : Words.Say("account.lead", ("amount", amount));
        return yesterday.LeakLitresPerHour is { Of: var bound } && AccountQuantity.IsNone(bound) ? $"{lead} {Words.Say("account.lead.no-leak", ("n", Math.Ceiling(bound.High)))}" : lead;
    }

    private static string WholeDays(MeanDay mean) => mean.Starts is { Days: var days } ? Words.Say("account.whole-days", ("n", days)) : Words.Say("account.no-whole-day");

    private static string StandardOf(int people) =>
        Words.Say("account.standard", ("n", people), ("litres", MeanDay.StandardLitresPerPerson), ("standard", "IS 1172"));
}

/// <param name="Name">"This week".</param>
/// <param name="Known">How many whole days it rests on; null for a single day.</param>
public sealed record AccountColumn(string Name, string? Known);

public sealed record AccountRow(string Name, IReadOnlyList<AccountCell> Cells);

/// <param name="Text">The quantity, its bounds on a line of their own, and what else is to be said of it.</param>
/// <param name="Before">"last week 7 100"; null when it is not known of the time before.</param>
public sealed record AccountCell(string Text, string? Before);
