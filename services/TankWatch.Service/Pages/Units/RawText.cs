using System.Globalization;
using System.Text;

namespace TankWatch.Service.Pages.Units;

/// <summary>A stretch of a raw message.</summary>
/// <param name="Text">To be shown.</param>
/// <param name="IsMark">It stands for something that cannot be seen, or that is no text.</param>
public sealed record RawPart(string Text, bool IsMark);

/// <summary>Makes a message from outside readable without changing it: what is text stays, what is not is named.</summary>
internal static class RawText
{
    /// <param name="bytes">As they came.</param>
    /// <param name="shown">At most so many bytes; one more than three are left out rather than cut a letter in two.</param>
    public static IReadOnlyList<RawPart> Of(ReadOnlySpan<byte> bytes, int shown)
    {
        var isCut = bytes.Length > shown;
        var rest = isCut ? bytes[..shown] : bytes;
        var parts = new List<RawPart>();
        var plain = new StringBuilder();
        while (!rest.IsEmpty)
        {
            var status = Rune.DecodeFromUtf8(rest, out var rune, out var used);
            if (status == System.Buffers.OperationStatus.NeedMoreData && isCut)
            {
                break; // The letter goes on beyond the cut.
            }

            if (status != System.Buffers.OperationStatus.Done)
            {
                foreach (var one in rest[..used])
                {
                    Mark($"\\x{one:X2}");
                }
            }
            else if (Sign(rune) is { } sign)
            {
                Mark(sign);
                if (rune.Value == '\n')
                {
                    plain.Append('\n');
                }
            }
            else
            {
                plain.Append(rune.ToString());
            }

            rest = rest[used..];
        }

        Flush();
        return parts;

        void Mark(string sign)
        {
            Flush();
            parts.Add(new(sign, true));
        }

        void Flush()
        {
            if (plain.Length > 0)
            {
                parts.Add(new(plain.ToString(), false));
                plain.Clear();
            }
        }
    }

    public static IReadOnlyList<RawPart> Of(string text) => Of(Encoding.UTF8.GetBytes(text), int.MaxValue);

    /// <summary>Null for a character that shows itself. Plain letters: few fonts have the pictures that Unicode has for controls.</summary>
    private static string? Sign(Rune rune) => rune.Value switch
    {
        '\n' => "\\n",
        '\r' => "\\r",
        '\t' => "\\t",
        _ when Rune.GetUnicodeCategory(rune) is UnicodeCategory.Control or UnicodeCategory.Format or UnicodeCategory.LineSeparator
            or UnicodeCategory.ParagraphSeparator or UnicodeCategory.OtherNotAssigned or UnicodeCategory.PrivateUse =>
            string.Create(CultureInfo.InvariantCulture, $"U+{rune.Value:X4}"),
        _ => null,
    };
}
