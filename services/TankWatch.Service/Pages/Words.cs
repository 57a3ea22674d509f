using System.Diagnostics.CodeAnalysis;
using System.Globalization;
using System.Text;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;

namespace TankWatch.Service.Pages;

/// <summary>How pages put times, spans and quantities into words.</summary>
internal static class Words
{
    /// <summary>A text in the page's language.</summary>
    public static string Say(string key, params ReadOnlySpan<(string Name, PhraseValue Value)> arguments) => Say(Phrase.Of(key, arguments));

    public static string Say(Phrase phrase) => Language.Say(phrase);

    public static Language Language => Languages.English;

    /// <summary>How long ago, whole: "3 minutes ago".</summary>
    public static string Ago(TimeSpan age) => age < TimeSpan.FromSeconds(5) ? "just now" : $"{Lasting(age)} ago";

    /// <summary>"40 seconds", "90 minutes", "7 hours", "3 days".</summary>
    public static string Lasting(TimeSpan span) => span switch
    {
        { TotalSeconds: < 1.5 } => "1 second",
        { TotalMinutes: < 2 } => Whole(span.TotalSeconds, "seconds"),
        { TotalHours: < 2 } => Whole(span.TotalMinutes, "minutes"),
        { TotalDays: < 2 } => Whole(span.TotalHours, "hours"),
        _ => Whole(span.TotalDays, "days"),
    };

    /// <summary>The site's own day and clock: "3 November 2026, 07:42".</summary>
    public static string Local(DateTimeOffset at, TimeZoneInfo zone) => In(at, zone, "d MMMM yyyy, HH:mm");

    /// <summary>"07:42".</summary>
    public static string Clock(DateTimeOffset at, TimeZoneInfo zone) => In(at, zone, "HH:mm");

    /// <summary>The clock alone for today, with the day for any other: "07:42", "Tuesday 07:42", "3 November, 07:42".</summary>
    /// <param name="at">When it was.</param>
    /// <param name="now">The present.</param>
    /// <param name="zone">The site's.</param>
    public static string Near(DateTimeOffset at, DateTimeOffset now, TimeZoneInfo zone) => Languages.English.Say(LocalClock.Near(at, now, zone));

    /// <summary>"between 1 500 and 3 900 litres"; one number where both ends read the same.</summary>
    public static string Between(double low, double high) =>
        Number(low) == Number(high) ? $"{Number(low)} litres" : $"between {Number(low)} and {Number(high)} litres";

    /// <summary>Whole litres with a thin space between thousands: "12 400".</summary>
    public static string Number(double value) =>
        Math.Round(value).ToString("#,0", CultureInfo.InvariantCulture).Replace(',', '\u202f');

    /// <summary>
    /// Without the marks that turn writing round or hide it, and without controls but line ends. Isolating a name is not enough: a mark
    /// that opens and never closes, or closes what it did not open, reaches beyond its element.
    /// </summary>
    [return: NotNullIfNotNull(nameof(text))]
    public static string? Plain(string? text)
    {
        if (text is null)
        {
            return null;
        }

        var plain = new StringBuilder(text.Length);
        foreach (var c in text)
        {
            if ((c == '\n' || !char.IsControl(c)) && c is not ((>= '\u202a' and <= '\u202e') or (>= '\u2066' and <= '\u2069') or '\u200e' or '\u200f' or '\u061c'))
            {
                plain.Append(c);
            }
        }

        return plain.ToString();
    }

    private static string In(DateTimeOffset at, TimeZoneInfo zone, string format) =>
        TimeZoneInfo.ConvertTime(at, zone).ToString(format, CultureInfo.InvariantCulture);

    private static string Whole(double count, string unit) => string.Create(CultureInfo.InvariantCulture, $"{count:0} {unit}");
}
