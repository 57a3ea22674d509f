using TankWatch.Core;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api.Contract;

namespace TankWatch.Service.Pages.Building;

/// <summary>What a pump delivered a minute on each of the last days: a drawing of marks with their bounds, and the same in words.</summary>
/// <param name="Pump">Its id.</param>
/// <param name="Text">One sentence.</param>
/// <param name="Marks">Days on which it is known, in order.</param>
/// <param name="Lines">Where the scale has a line.</param>
/// <param name="From">The first day of the drawing.</param>
/// <param name="To">The last.</param>
public sealed record DeliveryChart(string Pump, string Text, IReadOnlyList<DeliveryMark> Marks, IReadOnlyList<(string Label, double Y)> Lines, string From, string To)
{
    public const double Width = 360, Height = 96;
    public const int Days = 28;

    /// <summary>Less than this share from top to bottom would make a mountain of a mole hill.</summary>
    private const double LeastSpan = 0.3;

    /// <returns>Null with fewer than two days to compare.</returns>
    internal static DeliveryChart? Of(Pump pump, IReadOnlyList<SiteDay> days, DateOnly today)
    {
        var known = days.Select(day => (day.Date, Of: day.Pumps.FirstOrDefault(p => p.Pump == pump.Id)?.LitresPerMinute)).Where(day => day.Of is not null)
            .Select(day => (day.Date, Of: day.Of!.Value)).ToList();
        if (known.Count < 2)
        {
            return null;
        }

        var (low, high) = (known.Min(day => day.Of.Low), known.Max(day => day.Of.High));
        var margin = Math.Max(0.05 * (high - low), (LeastSpan * (high + low) / 2 - (high - low)) / 2);
        (low, high) = (Math.Max(0, low - margin), high + margin);
        var (first, last) = (known[0], known[^1]);
        return new(
            pump.Id.Value,
            Words.Say("account.delivery.text", ("pump", pump.Id.Value), ("last", Rate(last.Of)), ("day", OnDay(last.Date)), ("first", Rate(first.Of)), ("before", OnDay(first.Date))),
            [.. known.Select(day => new DeliveryMark(OnDay(day.Date), Rate(day.Of), X(day.Date), Y(day.Of.Value), Y(day.Of.Low), Y(day.Of.High)))],
            [.. LinesOf(low, high).Select(rate => (Words.Number(rate), Y(rate)))], OnDay(today.AddDays(-Days)), OnDay(today.AddDays(-1)));

        double X(DateOnly date) => Math.Round(Width * (Days - (today.DayNumber - date.DayNumber) + 0.5) / Days, 1);
        double Y(double rate) => Math.Round(Height * (high - rate) / (high - low), 1);
    }

    /// <summary>Two to five round numbers between the ends.</summary>
    private static IEnumerable<double> LinesOf(double low, double high)
    {
        var most = (high - low) / 2;
        var power = Math.Pow(10, Math.Floor(Math.Log10(most)));
        var step = power * (most >= 5 * power ? 5 : most >= 2 * power ? 2 : 1);
        for (var rate = Math.Ceiling(low / step) * step; rate <= high; rate += step)
        {
            yield return rate;
        }
    }

    private static string Rate(Estimate rate) => Amounts.Of(EstimateJson.Of(rate, 1), 1).Replace('\n', ' ');

    private static string OnDay(DateOnly date) => Words.Day(date, "format.day-month");
}

/// <param name="Day">"24 November".</param>
/// <param name="Rate">"54 (53.3 to 54.7)".</param>
/// <param name="X">Its middle.</param>
/// <param name="Y">Of the value.</param>
/// <param name="Low">Of the least, farther down.</param>
/// <param name="High">Of the most.</param>
public sealed record DeliveryMark(string Day, string Rate, double X, double Y, double Low, double High);
