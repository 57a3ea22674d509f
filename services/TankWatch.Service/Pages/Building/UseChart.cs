using System.Collections.Immutable;
using System.Globalization;
using TankWatch.Core;
using TankWatch.Core.Periods;

namespace TankWatch.Service.Pages.Building;

/// <summary>What is usually used in each hour of the day: a drawing of bars, dense as far as it is sure, and the same in words.</summary>
/// <param name="Days">"Monday to Friday".</param>
/// <param name="Text">One sentence.</param>
/// <param name="Bars">24, from midnight.</param>
/// <param name="Top">Litres an hour at the top of the drawing.</param>
public sealed record UseChart(string Days, string Text, IReadOnlyList<UseBar> Bars, double Top)
{
    public const double Width = 360, Height = 96;
    private const double Room = Width / 24, Gap = 2;

    /// <summary>Both on one scale; none before use has been learnt.</summary>
    internal static IReadOnlyList<UseChart> Of(UsePattern? pattern)
    {
        if (pattern is null)
        {
            return [];
        }

        var top = pattern.Weekday.Concat(pattern.Weekend).Max(hour => hour.High);
        return top > 0 ? [Of(Words.Say("account.weekdays"), pattern.Weekday, top), Of(Words.Say("account.weekend"), pattern.Weekend, top)] : [];
    }

    private static UseChart Of(string days, ImmutableArray<Estimate> hours, double top)
    {
        var (most, least) = (hours.IndexOf(hours.MaxBy(hour => hour.Value)), hours.IndexOf(hours.MinBy(hour => hour.Value)));
        return new(
            days, Words.Say(
                "account.use.text", ("days", days), ("start", Clock(most)), ("end", Clock(most + 1)), ("most", Litres(hours[most])),
                ("begin", Clock(least)), ("finish", Clock(least + 1)), ("least", Litres(hours[least]))),
            [.. hours.Select((hour, i) => new UseBar(Clock(i), Words.Number(hour.Value), Words.Say("amount.range", ("low", Math.Round(hour.Low)), ("high", Math.Round(hour.High))), (i * Room) + (Gap / 2), Room - Gap, Y(hour.Low), Y(hour.High)))],
            top);

        double Y(double litres) => Math.Round(Height * (1 - (litres / top)), 1);
    }

    private static string Litres(Estimate hour) => Words.Between(hour.Low, hour.High);

    private static string Clock(int hour) => string.Create(CultureInfo.InvariantCulture, $"{hour:00}:00");
}

/// <param name="From">"07:00".</param>
/// <param name="Litres">Usual in that hour.</param>
/// <param name="Bounds">"700 to 820".</param>
/// <param name="X">Left edge.</param>
/// <param name="Width">In the units of the drawing, as all of these.</param>
/// <param name="Sure">Where the least it may be ends, from the top.</param>
/// <param name="May">Where the most it may be ends, from the top.</param>
public sealed record UseBar(string From, string Litres, string Bounds, double X, double Width, double Sure, double May);
