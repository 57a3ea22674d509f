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
        return Rfc3339.TryParseUsual(text, out var time) || Rfc3339.TryParse(Encoding.UTF8.GetString(text), out time) ? time : null;
    }

    /// <returns>A reader that stands at the value.</returns>
    public static Utf8JsonReader ReaderAt(ReadOnlySpan<byte> json)
    {
        var reader = new Utf8JsonReader(json);
        reader.Read();
        return reader;
    }
}
