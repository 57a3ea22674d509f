using System.Buffers;
using System.Collections.Immutable;
using System.Formats.Cbor;
using System.Text.Json;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Senml;

/// <summary>
/// Turns packs of Sensor Measurement Lists (RFC 8428), in JSON or CBOR, into observations: by way of field messages, so that they pass the same
/// checks. Refusing is an ordinary result: it never throws for any payload, and one bad record spoils no other.
/// </summary>
public static class SenmlDecoder
{
    private const string TopicEnd = "/senml";

    /// <summary>The units in which values are taken (RFC 8428, 12.1; dBm of RFC 8798), by the member they become.</summary>
    private static readonly Dictionary<string, string> Units = new(StringComparer.Ordinal)
    {
        ["volts"] = "V", ["amps"] = "A", ["watts"] = "W", ["signalDbm"] = "dBm", ["batteryPercent"] = "%EL",
    };

    /// <summary>Reads <c>tankwatch/v1/{unit}/senml</c>.</summary>
    public static bool TryReadTopic(string topic, out UnitId unit)
    {
        unit = default;
        if (!topic.StartsWith(FieldMessageDecoder.TopicPrefix, StringComparison.Ordinal) || !topic.EndsWith(TopicEnd, StringComparison.Ordinal)
            || topic.Length <= FieldMessageDecoder.TopicPrefix.Length + TopicEnd.Length)
        {
            return false;
        }

        var id = topic[FieldMessageDecoder.TopicPrefix.Length..^TopicEnd.Length];
        unit = IdRule.Holds(id) ? new(id) : default;
        return unit.Value is not null;
    }

    /// <param name="plan">The site of the unit.</param>
    /// <param name="unit">A unit of that site.</param>
    /// <param name="payload">JSON, or CBOR when its first byte opens an array of CBOR; at most <see cref="FieldMessageDecoder.MaxPayloadBytes"/>.</param>
    /// <param name="receivedAt">UTC; relative times count from it.</param>
    /// <returns>
    /// One result per field message that the records make, and one per record that is refused, whose JSON is then a pack of that record
    /// alone; a single one for a payload that cannot be read at all. Records of unknown names make nothing.
    /// </returns>
    public static ImmutableArray<Decoded> Decode(SitePlan plan, FieldUnit unit, ReadOnlyMemory<byte> payload, DateTimeOffset receivedAt)
    {
        if (payload.Length > FieldMessageDecoder.MaxPayloadBytes)
        {
            return [new Decoded.Refused(RefusalReason.TooLarge, $"{payload.Length} bytes, more than {FieldMessageDecoder.MaxPayloadBytes}", payload)];
        }

        var (fields, unreadable) = Read(payload);
        if (unreadable is { } fault)
        {
            return [new Decoded.Refused(fault.Reason, fault.Detail, payload)];
        }

        if (fields.Count > SenmlPack.MaxRecords)
        {
            return [new Decoded.Refused(RefusalReason.TooLarge, $"more than {SenmlPack.MaxRecords} records", payload)];
        }

        var (records, whole) = SenmlPack.Resolve(fields);
        return whole is { } reason ? [new Decoded.Refused(reason.Reason, reason.Detail, payload)] : Decode(plan, unit, records, receivedAt);
    }

    private static (List<ImmutableArray<SenmlField>?> Fields, (RefusalReason Reason, string Detail)? Fault) Read(ReadOnlyMemory<byte> payload)
    {
        var isCbor = payload.Length > 0 && payload.Span[0] is >= 0x80 and <= 0x9F; // Major type 4.
        try
        {
            return (isCbor ? SenmlReader.ReadCbor(payload) : SenmlReader.ReadJson(payload), null);
        }
        catch (JsonException fault)
        {
            return ([], (RefusalReason.MalformedJson, $"not JSON, at byte {fault.BytePositionInLine + 1} of line {fault.LineNumber + 1}"));
        }
        catch (InvalidOperationException) when (!isCbor)
        {
            return ([], (RefusalReason.MalformedJson, "not an array of records, or text that is not valid Unicode"));
        }
        catch (Exception fault) when (fault is CborContentException or InvalidOperationException or OverflowException)
        {
            return ([], (RefusalReason.MalformedPayload, "not an array of records in CBOR"));
        }
    }

    private static ImmutableArray<Decoded> Decode(SitePlan plan, FieldUnit unit, ImmutableArray<SenmlRecord> records, DateTimeOffset receivedAt)
    {
        var gathered = new ReadingGatherer(plan);
        var results = ImmutableArray.CreateBuilder<Decoded>();
        foreach (var record in records)
        {
            var target = record.Fault is null ? ReadingTarget.Find(NameWithin(record.Name), plan.FindTank) : null;
            if ((record.Fault ?? FaultOf(record, target)) is { } fault)
            {
                results.Add(new Decoded.Refused(fault.Reason, fault.Detail, Keep(record)));
            }
            else if (target is { } known)
            {
                gathered.Add(known, record.Value!, SenmlTime.Resolve(record.Time, receivedAt));
            }
        }

        foreach (var (kind, json) in gathered.Messages())
        {
            results.AddRange(FieldMessageDecoder.Decode(plan, unit, kind, json, receivedAt));
        }

        return results.ToImmutable();
    }

    /// <summary>What stands before the last colon says whose the name is, and the topic has said that already.</summary>
    private static string NameWithin(string name) => name[(name.LastIndexOf(':') + 1)..];

    private static (RefusalReason Reason, string Detail)? FaultOf(SenmlRecord record, ReadingTarget? target)
    {
        if (target is not { } known)
        {
            return null;
        }

        if (record.Value is null)
        {
            return (RefusalReason.MissingMember, $"{NameWithin(record.Name)}: v, vs or vb is missing");
        }

        return record.Value is ReadingValue.Number && record.Unit is { } unit && Units.TryGetValue(known.Member, out var expected) && unit != expected
            ? (RefusalReason.OutOfRange, $"{NameWithin(record.Name)}: the unit must be {expected}") : null;
    }

    private static byte[] Keep(SenmlRecord record)
    {
        var json = new ArrayBufferWriter<byte>();
        using (var writer = new Utf8JsonWriter(json))
        {
            writer.WriteStartArray();
            writer.WriteStartObject();
            writer.WriteString("bn", record.Base.Name);
            Write(writer, "bt", record.Base.Time);
            foreach (var (label, value) in record.Fields.Where(field => field.Label is not ("bn" or "bt")))
            {
                Write(writer, label, value);
            }

            writer.WriteEndObject();
            writer.WriteEndArray();
        }

        return json.WrittenSpan.ToArray();
    }

    private static void Write(Utf8JsonWriter writer, string label, object? value)
    {
        switch (value)
        {
            case double number when double.IsFinite(number):
                writer.WriteNumber(label, number);
                break;
            case double:
                writer.WriteString(label, "no finite number");
                break;
            case bool flag:
                writer.WriteBoolean(label, flag);
                break;
            case string text:
                writer.WriteString(label, text);
                break;
            default:
                writer.WriteNull(label);
                break;
        }
    }
}
