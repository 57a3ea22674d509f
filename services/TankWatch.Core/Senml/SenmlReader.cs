using System.Collections.Immutable;
using System.Formats.Cbor;
using System.Text.Json;

namespace TankWatch.Core.Senml;

/// <summary>Reads the two formats of a pack into the fields of its records.</summary>
internal static class SenmlReader
{
    private const int MaxDepth = 16;

    // RFC 8428, table 4.
    private static readonly string[] BaseLabels = ["bver", "bn", "bt", "bu", "bv", "bs"];
    private static readonly string[] Labels = ["n", "u", "v", "vs", "vb", "s", "t", "ut", "vd"];

    /// <returns>The fields of each record; null for one that is no object.</returns>
    /// <exception cref="JsonException">No JSON.</exception>
    /// <exception cref="InvalidOperationException">Text that is no Unicode, or no array.</exception>
    public static List<ImmutableArray<SenmlField>?> ReadJson(ReadOnlyMemory<byte> payload)
    {
        using var document = JsonDocument.Parse(payload, new JsonDocumentOptions { MaxDepth = MaxDepth });
        return [.. document.RootElement.EnumerateArray().Take(SenmlPack.MaxRecords + 1).Select(record => record.ValueKind != JsonValueKind.Object
            ? (ImmutableArray<SenmlField>?)null : [.. record.EnumerateObject().Select(field => new SenmlField(field.Name, ValueOf(field.Value)))])];
    }

    private static object? ValueOf(JsonElement value) => value.ValueKind switch
    {
        JsonValueKind.String => value.GetString(),
        JsonValueKind.Number => value.GetDouble(),
        JsonValueKind.True => true,
        JsonValueKind.False => false,
        _ => null,
    };

    /// <returns>The fields of each record; null for one that is no map.</returns>
    /// <exception cref="CborContentException">No CBOR.</exception>
    /// <exception cref="InvalidOperationException">Not the types that a pack has.</exception>
    /// <exception cref="OverflowException">A number beyond all that is usual.</exception>
    public static List<ImmutableArray<SenmlField>?> ReadCbor(ReadOnlyMemory<byte> payload)
    {
        var reader = new CborReader(payload, CborConformanceMode.Strict);
        var records = new List<ImmutableArray<SenmlField>?>();
        reader.ReadStartArray();
        while (reader.PeekState() != CborReaderState.EndArray && records.Count <= SenmlPack.MaxRecords)
        {
            records.Add(ReadRecord(reader));
        }

        if (records.Count <= SenmlPack.MaxRecords)
        {
            reader.ReadEndArray();
            if (reader.BytesRemaining > 0)
            {
                throw new CborContentException("more bytes than the pack");
            }
        }

        return records;
    }

    private static ImmutableArray<SenmlField>? ReadRecord(CborReader reader)
    {
        if (reader.PeekState() != CborReaderState.StartMap)
        {
            Skip(reader);
            return null;
        }

        var fields = ImmutableArray.CreateBuilder<SenmlField>();
        reader.ReadStartMap();
        while (reader.PeekState() != CborReaderState.EndMap)
        {
            var label = LabelOf(reader);
            fields.Add(new(label, ValueOf(reader)));
        }

        reader.ReadEndMap();
        return fields.ToImmutable();
    }

    private static string LabelOf(CborReader reader)
    {
        if (reader.PeekState() == CborReaderState.TextString)
        {
            return reader.ReadTextString();
        }

        return reader.ReadInt64() switch
        {
            >= -6 and < 0 and var number => BaseLabels[-1 - number],
            >= 0 and <= 8 and var number => Labels[number],
            var number => number.ToString(System.Globalization.CultureInfo.InvariantCulture),
        };
    }

    private static object? ValueOf(CborReader reader)
    {
        switch (reader.PeekState())
        {
            case CborReaderState.TextString or CborReaderState.StartIndefiniteLengthTextString:
                return reader.ReadTextString();
            case CborReaderState.Boolean:
                return reader.ReadBoolean();
            case CborReaderState.UnsignedInteger:
                return (double)reader.ReadUInt64();
            case CborReaderState.NegativeInteger:
                return -1 - (double)reader.ReadCborNegativeIntegerRepresentation();
            case CborReaderState.HalfPrecisionFloat or CborReaderState.SinglePrecisionFloat or CborReaderState.DoublePrecisionFloat:
                return reader.ReadDouble();
            case CborReaderState.Tag when reader.PeekTag() == CborTag.DecimalFraction:
                return (double)reader.ReadDecimal();
            default:
                Skip(reader);
                return null;
        }
    }

    /// <summary>Passes over a value; the library's own way has no bound to its depth.</summary>
    private static void Skip(CborReader reader)
    {
        var outside = reader.CurrentDepth;
        bool isTag;
        do
        {
            isTag = false;
            switch (reader.PeekState())
            {
                case CborReaderState.StartArray:
                    reader.ReadStartArray();
                    break;
                case CborReaderState.StartMap:
                    reader.ReadStartMap();
                    break;
                case CborReaderState.EndArray:
                    reader.ReadEndArray();
                    break;
                case CborReaderState.EndMap:
                    reader.ReadEndMap();
                    break;
                case CborReaderState.Tag:
                    reader.ReadTag();
                    isTag = true;
                    break;
                default:
                    reader.SkipValue();
                    break;
            }

            if (reader.CurrentDepth > MaxDepth)
            {
                throw new CborContentException("nested too deeply");
            }
        }
        while (isTag || reader.CurrentDepth > outside);
    }
}
