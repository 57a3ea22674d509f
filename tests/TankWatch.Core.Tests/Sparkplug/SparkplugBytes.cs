using Google.Protobuf;

namespace TankWatch.Core.Tests.Sparkplug;

/// <summary>Payloads as an edge node would make them, written with the field numbers of sparkplug_b.proto [M].</summary>
internal static class SparkplugBytes
{
    public const uint OfInt32 = 3, OfInt64 = 4, OfUInt8 = 5, OfFloat = 9, OfBoolean = 11, OfText = 12;

    /// <param name="seq">Null for a death.</param>
    /// <param name="at">Null for none.</param>
    /// <param name="metrics">Made with <see cref="Metric"/>.</param>
    public static byte[] Payload(int? seq, DateTimeOffset? at, params byte[][] metrics) => Write(output =>
    {
        if (at is { } time)
        {
            output.WriteTag(1, WireFormat.WireType.Varint);
            output.WriteUInt64((ulong)time.ToUnixTimeMilliseconds());
        }

        foreach (var metric in metrics)
        {
            output.WriteTag(2, WireFormat.WireType.LengthDelimited);
            output.WriteBytes(ByteString.CopyFrom(metric));
        }

        if (seq is { } number)
        {
            output.WriteTag(3, WireFormat.WireType.Varint);
            output.WriteUInt64((ulong)number);
        }
    });

    /// <param name="name">Null for none.</param>
    /// <param name="value">Null for is_null.</param>
    /// <param name="type">Null for none.</param>
    /// <param name="alias">Null for none.</param>
    /// <param name="at">Null for none.</param>
    /// <param name="historical">It tells of the past.</param>
    public static byte[] Metric(string? name, object? value, uint? type = null, ulong? alias = null, DateTimeOffset? at = null, bool historical = false) => Write(output =>
    {
        if (name is not null)
        {
            output.WriteTag(1, WireFormat.WireType.LengthDelimited);
            output.WriteString(name);
        }

        Varint(output, 2, alias);
        Varint(output, 3, (ulong?)at?.ToUnixTimeMilliseconds());
        Varint(output, 4, type);
        Varint(output, 5, historical ? 1UL : null);
        Varint(output, 7, value is null ? 1UL : null);
        switch (value)
        {
            case bool flag:
                Varint(output, 14, flag ? 1UL : 0);
                break;
            case int number:
                Varint(output, 10, (uint)number);
                break;
            case long number:
                Varint(output, 11, (ulong)number);
                break;
            case float number:
                output.WriteTag(12, WireFormat.WireType.Fixed32);
                output.WriteFloat(number);
                break;
            case double number:
                output.WriteTag(13, WireFormat.WireType.Fixed64);
                output.WriteDouble(number);
                break;
            case string text:
                output.WriteTag(15, WireFormat.WireType.LengthDelimited);
                output.WriteString(text);
                break;
        }
    });

    private static void Varint(CodedOutputStream output, int field, ulong? value)
    {
        if (value is { } number)
        {
            output.WriteTag(field, WireFormat.WireType.Varint);
            output.WriteUInt64(number);
        }
    }

    private static byte[] Write(Action<CodedOutputStream> write)
    {
        using var bytes = new MemoryStream();
        using (var output = new CodedOutputStream(bytes, leaveOpen: true))
        {
            write(output);
        }

        return bytes.ToArray();
    }
}
