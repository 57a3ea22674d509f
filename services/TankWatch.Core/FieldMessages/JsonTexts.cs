using System.Text;
using System.Text.Json;
using System.Text.Unicode;
using TankWatch.Core.Time;

namespace TankWatch.Core.FieldMessages;

/// <summary>What texts of JSON say, read where they stand.</summary>
internal static class JsonTexts
{
    /// <param name="json">With its quotes.</param>
    /// <param name="isEscaped">It is not what its bytes say.</param>
    /// <returns>In UTF-8, without quotes.</returns>
    /// <exception cref="InvalidOperationException">Broken UTF-8, or a lone surrogate: it shows only when the text is asked for.</exception>
    public static ReadOnlySpan<byte> TextOf(ReadOnlySpan<byte> json, bool isEscaped) =>
        !isEscaped && Utf8.IsValid(json[1..^1]) ? json[1..^1] : Encoding.UTF8.GetBytes(ReaderAt(json).GetString()!);

    /// <returns>UTC; null when it is no time as RFC 3339 writes it.</returns>
    /// <inheritdoc cref="TextOf"/>
    public static DateTimeOffset? TimeOf(ReadOnlySpan<byte> json, bool isEscaped)
    {
        var text = TextOf(json, isEscaped);
        if (!isEscaped && IsUsual(text) && ReaderAt(json).TryGetDateTimeOffset(out var usual))
        {
            return usual.ToUniversalTime();
        }

        return Rfc3339.TryParse(Encoding.UTF8.GetString(text), out var time) ? time : null;
    }

    /// <returns>A reader that stands at the value.</returns>
    public static Utf8JsonReader ReaderAt(ReadOnlySpan<byte> json)
    {
        var reader = new Utf8JsonReader(json);
        reader.Read();
        return reader;
    }

    /// <remarks>
    /// The JSON library reads what is usual many times faster; but it also takes times without seconds or offset, and a dot with
    /// nothing behind it, which are no RFC 3339.
    /// </remarks>
    private static bool IsUsual(ReadOnlySpan<byte> time) =>
        time.Length >= 20 && time[16] == ':' && (time[^1] == 'Z' || (time[^3] == ':' && time[^6] is (byte)'+' or (byte)'-'))
        && (time[19] != '.' || char.IsAsciiDigit((char)time[20]));
}
