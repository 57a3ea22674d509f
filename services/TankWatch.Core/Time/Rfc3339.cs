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

    /// <summary>
    /// Reads a time in the form that units write it in nearly always, many times faster: UTF-8, upper case, at most seven decimals, an offset
    /// of at most 14 hours, no leap second. False says only that it has another form.
    /// </summary>
    public static bool TryParseUsual(ReadOnlySpan<byte> text, out DateTimeOffset utc)
    {
        utc = default;
        if (text.Length < 20 || text[4] != '-' || text[7] != '-' || text[10] != 'T' || text[13] != ':' || text[16] != ':')
        {
            return false;
        }

        var (year, month, day) = (Number(text[..4]), Number(text[5..7]), Number(text[8..10]));
        var (hour, minute, second) = (Number(text[11..13]), Number(text[14..16]), Number(text[17..19]));
        if (year < 1 || month is < 1 or > 12 || day < 1 || day > DateTime.DaysInMonth(year, month) || hour is < 0 or > 23 || minute is < 0 or > 59 || second is < 0 or > 59)
        {
            return false;
        }

        var rest = text[19..];
        var ticks = new DateTime(year, month, day, hour, minute, second, DateTimeKind.Utc).Ticks;
        if (rest[0] == '.')
        {
            var decimals = 1;
            for (var worth = TimeSpan.TicksPerSecond / 10; decimals < rest.Length && char.IsAsciiDigit((char)rest[decimals]); decimals++, worth /= 10)
            {
                ticks += (rest[decimals] - '0') * worth;
            }

            if (decimals is 1 or > 8 || decimals == rest.Length)
            {
                return false;
            }

            rest = rest[decimals..];
        }

        if (!TryReadOffset(rest, out var offset) || ticks - offset is not (>= 0 and var moment) || moment > DateTime.MaxValue.Ticks)
        {
            return false;
        }

        utc = new(moment, TimeSpan.Zero);
        return true;
    }

    private static bool TryReadOffset(ReadOnlySpan<byte> text, out long ticks)
    {
        ticks = 0;
        if (text is [(byte)'Z'])
        {
            return true;
        }

        if (text is not [(byte)'+' or (byte)'-', _, _, (byte)':', _, _])
        {
            return false;
        }

        var (hours, minutes) = (Number(text[1..3]), Number(text[4..6]));
        ticks = ((hours * 60) + minutes) * TimeSpan.TicksPerMinute * (text[0] == '-' ? -1 : 1);
        return hours >= 0 && minutes is >= 0 and <= 59 && (hours * 60) + minutes <= 14 * 60;
    }

    /// <returns>-1 for anything but digits.</returns>
    private static int Number(ReadOnlySpan<byte> digits)
    {
        var number = 0;
        foreach (var digit in digits)
        {
            if (!char.IsAsciiDigit((char)digit))
            {
                return -1;
            }

            number = (number * 10) + digit - '0';
        }

        return number;
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
