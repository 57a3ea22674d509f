using System.Runtime.CompilerServices;
using System.Text.Json;

namespace TankWatch.Core.FieldMessages;

/// <summary>The members that any kind of message may carry; in the order of <see cref="MemberTable.Names"/>.</summary>
internal enum Member
{
    At, Boot, Seq, Tank, Wet, Pump, State, Cause, Mode, Volts, Amps, Watts, Flowing, Mains, Online, Firmware, SignalDbm, BatteryPercent,
}

/// <summary>Where a member's value stands in the message.</summary>
/// <param name="Type">None for a member that is absent.</param>
/// <param name="IsEscaped">A text with escapes, that is not what its bytes say.</param>
/// <param name="Start">Of the value, a text's quotes included.</param>
/// <param name="Length">In bytes.</param>
internal readonly record struct MemberValue(JsonTokenType Type, bool IsEscaped, int Start, int Length);

/// <summary>Where each member stands in one message: found in one pass, without allocating. Of a member that stands twice, the last counts.</summary>
[InlineArray(Count)]
internal struct MemberTable
{
    private const int Count = (int)Member.BatteryPercent + 1;

    private static readonly byte[][] Names =
    [
        [.. "at"u8], [.. "boot"u8], [.. "seq"u8], [.. "tank"u8], [.. "wet"u8], [.. "pump"u8], [.. "state"u8], [.. "cause"u8], [.. "mode"u8],
        [.. "volts"u8], [.. "amps"u8], [.. "watts"u8], [.. "flowing"u8], [.. "mains"u8], [.. "online"u8], [.. "firmware"u8],
        [.. "signalDbm"u8], [.. "batteryPercent"u8],
    ];

    private MemberValue first;

    /// <summary>Reads an object to its end.</summary>
    /// <param name="reader">At the object's start.</param>
    /// <param name="table">Receives what stands in it.</param>
    /// <returns>False when a name is no valid Unicode.</returns>
    /// <exception cref="JsonException">No JSON.</exception>
    public static bool Read(ref Utf8JsonReader reader, out MemberTable table)
    {
        table = default;
        var start = (int)reader.TokenStartIndex;
        var isText = true;
        while (reader.Read() && reader.TokenType == JsonTokenType.PropertyName)
        {
            var member = reader.ValueIsEscaped ? FindEscaped(ref reader, ref isText) : Find(reader.ValueSpan);
            reader.Read();
            var (type, isEscaped, from) = (reader.TokenType, reader.ValueIsEscaped, (int)reader.TokenStartIndex);
            reader.Skip();
            if (member >= 0)
            {
                table[member] = new(type, isEscaped, from - start, (int)reader.BytesConsumed - from);
            }
        }

        return isText;
    }

    private static int Find(ReadOnlySpan<byte> name)
    {
        for (var i = 0; i < Names.Length; i++)
        {
            if (name.SequenceEqual(Names[i]))
            {
                return i;
            }
        }

        return -1;
    }

    private static int FindEscaped(ref Utf8JsonReader reader, ref bool isText)
    {
        try
        {
            for (var i = 0; i < Names.Length; i++)
            {
                if (reader.ValueTextEquals(Names[i]))
                {
                    return i;
                }
            }
        }
        catch (InvalidOperationException)
        {
            isText = false; // A lone surrogate shows only when the text is asked for.
        }

        return -1;
    }
}
