using TankWatch.Core.Texts;
using TankWatch.Service.Api.Contract;

namespace TankWatch.Service.Pages;

/// <summary>Quantities as a table says them.</summary>
internal static class Amounts
{
    public static string Unknown => Words.Say("amount.unknown");

    /// <summary>"4 310", and on a line of their own the bounds, "(4 200 to 4 420)", unless there is nothing between them. The unit stands in the row's name.</summary>
    /// <param name="estimate">Null when unknown.</param>
    /// <param name="decimals">0 to 2.</param>
    public static string Of(EstimateJson? estimate, int decimals = 0)
    {
        if (estimate is not { } e)
        {
            return Unknown;
        }

        var (value, low, high) = (Number(e.Value, decimals), Number(e.Low, decimals), Number(e.High, decimals));
        return low == high ? value : $"{value}\n{Words.Say("amount.bounds", ("low", low), ("high", high))}";
    }

    /// <summary>"4 200 to 4 420": the bounds alone, where a table has many.</summary>
    /// <param name="estimate">Null when unknown.</param>
    public static string Between(EstimateJson? estimate) => estimate is { } e ? Between(e.Low, e.High) : Unknown;

    public static string Between(double low, double high)
    {
        var (from, to) = (Number(low, 0), Number(high, 0));
        return from == to ? from : Words.Say("amount.range", ("low", from), ("high", to));
    }

    /// <summary>"3 h 26 min", "12 min", "40 s".</summary>
    public static string Span(double? seconds) => seconds is { } s ? Words.Say(SpanOf(TimeSpan.FromSeconds(Math.Round(s)))) : Unknown;

    public static string Count(int count) => Words.Number(count, "0");

    private static Phrase SpanOf(TimeSpan span) => span switch
    {
        { TotalSeconds: 0 } => Phrase.Of("amount.none"),
        { TotalSeconds: < 90 } => Phrase.Of("amount.seconds", ("n", span.TotalSeconds)),
        { TotalHours: < 1 } => Phrase.Of("amount.minutes", ("n", Math.Round(span.TotalMinutes))),
        { Minutes: 0 } => Phrase.Of("amount.hours", ("n", Math.Round(span.TotalHours))),
        _ => Phrase.Of("amount.hours-minutes", ("hours", Math.Floor(span.TotalHours)), ("minutes", span.Minutes)),
    };

    private static string Number(double value, int decimals) =>
        decimals == 0 ? Words.Number(value) : Words.Number(Math.Round(value, decimals), "0." + new string('#', decimals));
}
