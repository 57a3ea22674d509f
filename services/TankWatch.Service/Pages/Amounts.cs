using System.Globalization;
using TankWatch.Service.Api.Contract;

namespace TankWatch.Service.Pages;

/// <summary>Quantities as a table says them.</summary>
internal static class Amounts
{
    public const string Unknown = "not known";

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
        return low == high ? value : $"{value}\n({low} to {high})";
    }

    /// <summary>"4 200 to 4 420": the bounds alone, where a table has many.</summary>
    /// <param name="estimate">Null when unknown.</param>
    public static string Between(EstimateJson? estimate)
    {
        var (low, high) = (Number(estimate?.Low ?? 0, 0), Number(estimate?.High ?? 0, 0));
        return estimate is null ? Unknown : low == high ? low : $"{low} to {high}";
    }

    /// <summary>"3 h 26 min", "12 min", "40 s".</summary>
    public static string Span(double? seconds) => seconds is not { } s ? Unknown : TimeSpan.FromSeconds(Math.Round(s)) switch
    {
        { TotalSeconds: 0 } => "none",
        { TotalSeconds: < 90 } span => string.Create(CultureInfo.InvariantCulture, $"{span.TotalSeconds:0} s"),
        { TotalHours: < 1 } span => string.Create(CultureInfo.InvariantCulture, $"{span.TotalMinutes:0} min"),
        { Minutes: 0 } span => string.Create(CultureInfo.InvariantCulture, $"{span.TotalHours:0} h"),
        var span => string.Create(CultureInfo.InvariantCulture, $"{Math.Floor(span.TotalHours):0} h {span.Minutes} min"),
    };

    public static string Count(int count) => count.ToString(CultureInfo.InvariantCulture);

    /// <summary>"1 alert", "3 alerts".</summary>
    public static string Count(long count, string one, string many) => $"{Words.Number(count)} {(count == 1 ? one : many)}";

    private static string Number(double value, int decimals) =>
        decimals == 0 ? Words.Number(value) : Math.Round(value, decimals).ToString("0." + new string('#', decimals), CultureInfo.InvariantCulture);
}
