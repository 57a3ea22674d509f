using System.Collections.Immutable;
using Google.Protobuf;
using TankWatch.Core.FieldMessages;

namespace TankWatch.Core.Sparkplug;

/// <summary>One metric of a payload, as far as it can mean something here.</summary>
/// <param name="Name">Empty when only the alias is given.</param>
/// <param name="Alias">A number that a birth gave to a name.</param>
/// <param name="Timestamp">Milliseconds since 1970.</param>
/// <param name="Datatype">Of the standard's table; births always have it.</param>
/// <param name="IsHistorical">It tells of the past, not of now.</param>
/// <param name="IsNull">There is no value.</param>
/// <param name="Raw">A uint, ulong, float, double, bool or string; null for none, and for sets, templates and bytes.</param>
internal readonly record struct SparkplugMetric(
    string Name, ulong? Alias, ulong? Timestamp, uint? Datatype, bool IsHistorical, bool IsNull, object? Raw)
{
    /// <summary>The value, read by its type: the wire has no negative numbers.</summary>
    /// <param name="datatype">From the birth, where the metric does not say.</param>
    /// <returns>Null when it is of no kind that means something here.</returns>
    public ReadingValue? Value(uint? datatype) => Raw switch
    {
        bool flag => new ReadingValue.Flag(flag),
        string text => new ReadingValue.Text(text),
        float and not (>= float.MinValue and <= float.MaxValue) or double and not (>= double.MinValue and <= double.MaxValue) => null,
        float number => new ReadingValue.Number(number),
        double number => new ReadingValue.Number(number),
        uint bits => new ReadingValue.Number((Datatype ?? datatype) switch { 1 => (sbyte)bits, 2 => (short)bits, 3 => (int)bits, _ => bits }),
        ulong bits => new ReadingValue.Number((Datatype ?? datatype) switch { 4 => (long)bits, _ => bits }),
        _ => null,
    };
}

/// <summary>A payload of Sparkplug B: protocol buffers, read by hand with the library's stream, since the message is five fields deep and hostile ones
/// must not become objects first. Field numbers are those of the standard's open definition (sparkplug_b.proto [M]).</summary>
/// <param name="Timestamp">Milliseconds since 1970.</param>
/// <param name="Seq">Of the message; a death has none.</param>
/// <param name="Metrics">In their order.</param>
internal sealed record SparkplugPayload(ulong? Timestamp, ulong? Seq, ImmutableArray<SparkplugMetric> Metrics)
{
    public const int MaxMetrics = 10_000;
    public const uint Boolean = 11; // A datatype, as above.

    // Field number times 8, plus the wire type.
    private const uint PayloadTimestamp = (1 << 3) | 0;
    private const uint PayloadMetrics = (2 << 3) | 2;
    private const uint PayloadSeq = (3 << 3) | 0;
    private const uint MetricName = (1 << 3) | 2;
    private const uint MetricAlias = (2 << 3) | 0;
    private const uint MetricTimestamp = (3 << 3) | 0;
    private const uint MetricDatatype = (4 << 3) | 0;
    private const uint MetricIsHistorical = (5 << 3) | 0;
    private const uint MetricIsNull = (7 << 3) | 0;
    private const uint MetricInt = (10 << 3) | 0;
    private const uint MetricLong = (11 << 3) | 0;
    private const uint MetricFloat = (12 << 3) | 5;
    private const uint MetricDouble = (13 << 3) | 1;
    private const uint MetricBoolean = (14 << 3) | 0;
    private const uint MetricString = (15 << 3) | 2;

    /// <summary>The metric of births and deaths that says which belong together.</summary>
    public ulong? BdSeq => Metrics.Where(metric => metric.Name == "bdSeq").Select(metric => metric.Raw switch { ulong number => number, uint number => number, _ => (ulong?)null }).FirstOrDefault();

    /// <returns>Null when it is no payload, or has more metrics than <see cref="MaxMetrics"/>.</returns>
    public static SparkplugPayload? Find(ReadOnlyMemory<byte> bytes)
    {
        try
        {
            using var input = new CodedInputStream(bytes.ToArray());
            return Read(input);
        }
        catch (InvalidProtocolBufferException)
        {
            return null;
        }
    }

    /// <summary>Asks an edge node for its births: a command, to <c>spBv1.0/{group}/NCMD/{node}</c>.</summary>
    public static byte[] Rebirth(DateTimeOffset now)
    {
        var metric = Write(output =>
        {
            output.WriteTag(MetricName);
            output.WriteString("Node Control/Rebirth");
            output.WriteTag(MetricDatatype);
            output.WriteUInt32(Boolean);
            output.WriteTag(MetricBoolean);
            output.WriteBool(true);
        });
        return Write(output =>
        {
            output.WriteTag(PayloadTimestamp);
            output.WriteUInt64((ulong)now.ToUnixTimeMilliseconds());
            output.WriteTag(PayloadMetrics);
            output.WriteBytes(ByteString.CopyFrom(metric));
        });
    }

    private static byte[] Write(Action<CodedOutputStream> write)
    {
        var bytes = new byte[128];
        using var output = new CodedOutputStream(bytes);
        write(output);
        return bytes[..(int)output.Position];
    }

    private static SparkplugPayload? Read(CodedInputStream input)
    {
        var (timestamp, seq) = ((ulong?)null, (ulong?)null);
        var metrics = ImmutableArray.CreateBuilder<SparkplugMetric>();
        while (input.ReadTag() is not 0 and var tag)
        {
            switch (tag)
            {
                case PayloadTimestamp:
                    timestamp = input.ReadUInt64();
                    break;
                case PayloadSeq:
                    seq = input.ReadUInt64();
                    break;
                case PayloadMetrics when metrics.Count == MaxMetrics:
                    return null;
                case PayloadMetrics:
                    using (var metric = new CodedInputStream(input.ReadBytes().ToByteArray()))
                    {
                        metrics.Add(ReadMetric(metric));
                    }

                    break;
                default:
                    input.SkipLastField();
                    break;
            }
        }

        return new(timestamp, seq, metrics.ToImmutable());
    }

    private static SparkplugMetric ReadMetric(CodedInputStream input)
    {
        var metric = new SparkplugMetric("", null, null, null, false, false, null);
        while (input.ReadTag() is not 0 and var tag)
        {
            switch (tag)
            {
                case MetricName:
                    metric = metric with { Name = input.ReadString() };
                    break;
                case MetricAlias:
                    metric = metric with { Alias = input.ReadUInt64() };
                    break;
                case MetricTimestamp:
                    metric = metric with { Timestamp = input.ReadUInt64() };
                    break;
                case MetricDatatype:
                    metric = metric with { Datatype = input.ReadUInt32() };
                    break;
                case MetricIsHistorical:
                    metric = metric with { IsHistorical = input.ReadBool() };
                    break;
                case MetricIsNull:
                    metric = metric with { IsNull = input.ReadBool() };
                    break;
                case MetricInt or MetricLong or MetricFloat or MetricDouble or MetricBoolean or MetricString:
                    metric = metric with { Raw = ReadValue(input, tag) };
                    break;
                default:
                    input.SkipLastField();
                    break;
            }
        }

        return metric;
    }

    private static object ReadValue(CodedInputStream input, uint tag) => tag switch
    {
        MetricInt => input.ReadUInt32(),
        MetricLong => input.ReadUInt64(),
        MetricFloat => input.ReadFloat(),
        MetricDouble => input.ReadDouble(),
        MetricBoolean => input.ReadBool(),
        _ => input.ReadString(),
    };
}
