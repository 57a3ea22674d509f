using System.Globalization;

namespace TankWatch.Core.Time;

/// <summary>Times as RFC 3339 writes them.</summary>
public static class Rfc3339
{
    private static readonly string[] Formats = ["yyyy-MM-dd'T'HH:mm:ss.FFFFFFFzzz", "yyyy-MM-dd'T'HH:mm:ss.FFFFFFF'Z'"];

    /// <summary>UTC with milliseconds and <c>Z</c>: the one form in which this project writes a time.</summary>
    public static string Format(DateTimeOffset time) =>
        time.ToUniversalTime().ToString("yyyy-MM-dd'T'HH:mm:ss.fff'Z'", CultureInfo.InvariantCulture);

    /// <summary>
    /// Reads a time with any offset, upper or lower case (5.6), and any count of decimals (those below 100 ns are dropped). A leap
    /// second (5.7) is taken as the first moment of the next minute, since .NET's time has none.
    /// </summary>
    public static bool TryParse(ReadOnlySpan<char> text, out DateTimeOffset utc)
    {
        utc = default;
        Span<char> clean = stackalloc char[40];
        if (text.Length is < 20 or > 64 || !TryNormalize(text, clean, out var length, out var leap))
        {
            return false;
        }

        const DateTimeStyles Styles = DateTimeStyles.AssumeUniversal | DateTimeStyles.AdjustToUniversal;
        if (!DateTimeOffset.TryParseExact(clean[..length], Formats, CultureInfo.InvariantCulture, Styles, out utc))
        {
            return false;
        }

        if (!leap)
        {
            return true;
        }

        // The last minute of the last year has no next one.
        var isInRange = utc <= DateTimeOffset.MaxValue.AddSeconds(-1);
        utc = isInRange ? utc.AddSeconds(1) : default;
        return isInRange;
    }

    private static bool TryNormalize(ReadOnlySpan<char> text, Span<char> clean, out int length, out bool leap)
    {
        (length, leap) = (0, false);
        var decimals = -1;
        foreach (var c in text)
        {
            if (c == '.')
            {
                decimals = 0;
            }
            else if (decimals >= 0 && char.IsAsciiDigit(c) && ++decimals > 7)
            {
                continue;
            }
            else if (!char.IsAsciiDigit(c))
            {
                decimals = -1;
            }

            if (length == clean.Length)
            {
                return false;
            }

            clean[length++] = char.ToUpperInvariant(c);
        }

        // A dot needs at least one digit after it, and seconds of 60 only stand for a leap second.
        if (clean[..length].IndexOfAny(".Z", ".+", ".-") || length < 20)
        {
            return false;
        }

        if (clean[17] == '6' && clean[18] == '0')
        {
            (clean[17], clean[18], leap) = ('5', '9', true);
        }

        return true;
    }

    private static bool IndexOfAny(this Span<char> text, params ReadOnlySpan<string> parts)
    {
        foreach (var part in parts)
        {
            if (text.IndexOf(part) >= 0)
            {
                return true;
            }
        }

        return false;
    }
}
