using System.Diagnostics.CodeAnalysis;
using System.Text;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;

namespace TankWatch.Service.Pages;

/// <summary>How pages put times, spans and quantities into words.</summary>
internal static class Words
{
    /// <summary>A text in the page's language.</summary>
    public static string Say(string key, params ReadOnlySpan<(string Name, PhraseValue Value)> arguments) => Say(Phrase.Of(key, arguments));

    public static string Say(Phrase phrase) => PageLanguage.Current.Say(phrase);

    /// <summary>For the browser's tab.</summary>
    public static string Title(string what) => $"TankWatch: {what}";

    /// <summary>How long ago, whole: "3 minutes ago".</summary>
    public static string Ago(TimeSpan age) => age switch
    {
        { TotalSeconds: < 5 } => Say("ago.now"),
        { TotalMinutes: < 2 } => Say("ago.seconds", ("n", Math.Round(age.TotalSeconds))),
        { TotalHours: < 2 } => Say("ago.minutes", ("n", Math.Round(age.TotalMinutes))),
        { TotalDays: < 2 } => Say("ago.hours", ("n", Math.Round(age.TotalHours))),
        _ => Say("ago.days", ("n", Math.Round(age.TotalDays))),
    };

    /// <summary>"40 seconds", "90 minutes", "7 hours", "3 days".</summary>
    public static string Lasting(TimeSpan span) => Say(LastingOf(span));

    /// <summary>"40 seconds", as a part of a sentence.</summary>
    public static Phrase LastingOf(TimeSpan span) => span switch
    {
        { TotalMinutes: < 2 } => Phrase.Of("span.seconds", ("n", Math.Max(1, Math.Round(span.TotalSeconds)))),
        { TotalHours: < 2 } => Phrase.Of("span.minutes", ("n", Math.Round(span.TotalMinutes))),
        { TotalDays: < 2 } => Phrase.Of("span.hours", ("n", Math.Round(span.TotalHours))),
        _ => Phrase.Of("span.days", ("n", Math.Round(span.TotalDays))),
    };

    /// <summary>The site's own day and clock: "3 November 2026, 07:42".</summary>
    public static string Local(DateTimeOffset at, TimeZoneInfo zone) => Say("near.far", ("at", PhraseMoment.In(zone, at)));

    /// <summary>A day of the calendar by a <c>format.</c> pattern.</summary>
    public static string Day(DateOnly day, string format) => day.ToDateTime(TimeOnly.MinValue).ToString(Say(format), PageLanguage.Current.Culture);

    /// <summary>The clock alone for today, with the day for any other: "07:42", "Tuesday 07:42", "3 November, 07:42".</summary>
    /// <param name="at">When it was.</param>
    /// <param name="now">The present.</param>
    /// <param name="zone">The site's.</param>
    public static string Near(DateTimeOffset at, DateTimeOffset now, TimeZoneInfo zone) => Say(LocalClock.Near(at, now, zone));

    /// <summary>"between 1 500 and 3 900 litres"; one number where both ends read the same.</summary>
    public static string Between(double low, double high) => Math.Round(low) == Math.Round(high)
        ? Litres(low) : Say("amount.between", ("low", Math.Round(low)), ("high", Math.Round(high)));

    /// <summary>"1 500 litres".</summary>
    public static string Litres(double litres) => Say("amount.litres", ("n", Math.Round(litres)));

    /// <summary>Whole, with the thousands set apart: "12 400".</summary>
    public static string Number(double value) => Number(Math.Round(value), "#,0");

    /// <param name="value">As it is to be shown.</param>
    /// <param name="format">Of .NET.</param>
    public static string Number(double value, string format) => value.ToString(format, PageLanguage.Current.Culture);

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
            if ((c == '\n' || !char.IsControl(c)) && c is not ((>= '\u202a' and <= '\u202e') or (>= '\u2066' and <= '\u2069') or '\u200e' or '\u200f' or '\u061c' or (>= '\ufdd0' and <= '\ufdef')))
            {
                plain.Append(c);
            }
        }

        return plain.ToString();
    }
}
