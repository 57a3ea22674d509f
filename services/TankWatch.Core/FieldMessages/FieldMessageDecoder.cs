using System.Collections.Immutable;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;

namespace TankWatch.Core.FieldMessages;

/// <summary>
/// Turns what arrived into observations fitted to a site's plan. Refusing is an ordinary result: it never throws for any topic or
/// payload, and one bad element of a backlog array spoils no other.
/// </summary>
public static class FieldMessageDecoder
{
    public const int MaxPayloadBytes = 256 * 1024;
    public const string TopicPrefix = "tankwatch/v1/";

    private static readonly DateTimeOffset EarliestBelieved = new(2020, 1, 1, 0, 0, 0, TimeSpan.Zero);
    private static readonly TimeSpan FarthestAhead = TimeSpan.FromMinutes(5);

    /// <summary>Reads <c>tankwatch/v1/{unit}/{kind}</c>.</summary>
    /// <param name="topic">As received.</param>
    /// <param name="unit">The unit, even of a kind that is not known; default when it cannot be read.</param>
    /// <param name="kind">The kind; default when false.</param>
    /// <param name="detail">Why not; empty when true.</param>
    public static bool TryReadTopic(string topic, out UnitId unit, out MessageKind kind, out string detail)
    {
        (unit, kind, detail) = (default, default, "");
        if (!topic.StartsWith(TopicPrefix, StringComparison.Ordinal) || topic[TopicPrefix.Length..].Split('/') is not [var id, var name])
        {
            detail = "the topic is not tankwatch/v1/{unit}/{kind}";
            return false;
        }

        if (!IdRule.Holds(id))
        {
            detail = $"the unit's id is not {IdRule.InWords}";
            return false;
        }

        unit = new(id);
        if (FindKind(name) is not { } known)
        {
            detail = "the topic's kind is none of level, pump, inlet, supply, status";
            return false;
        }

        kind = known;
        return true;
    }

    /// <summary>A kind's name in topics and in the store.</summary>
    public static string NameOf(MessageKind kind) => kind switch
    {
        MessageKind.Level => "level",
        MessageKind.Pump => "pump",
        MessageKind.Inlet => "inlet",
        MessageKind.Supply => "supply",
        MessageKind.Status => "status",
        _ => throw new ArgumentOutOfRangeException(nameof(kind)),
    };

    public static MessageKind? FindKind(string name) => name switch
    {
        "level" => MessageKind.Level,
        "pump" => MessageKind.Pump,
        "inlet" => MessageKind.Inlet,
        "supply" => MessageKind.Supply,
        "status" => MessageKind.Status,
        _ => null,
    };

    /// <summary>Decodes one payload: an object, or an array of them (a backlog, oldest first).</summary>
    /// <param name="plan">The site of the unit.</param>
    /// <param name="unit">A unit of that site.</param>
    /// <param name="kind">From the topic.</param>
    /// <param name="payload">UTF-8 JSON, at most <see cref="MaxPayloadBytes"/>.</param>
    /// <param name="receivedAt">UTC; stands in for a time that is absent or not believed.</param>
    /// <returns>One result per element, in their order; a single one for a payload that cannot be read at all.</returns>
    public static ImmutableArray<Decoded> Decode(
        SitePlan plan, FieldUnit unit, MessageKind kind, ReadOnlyMemory<byte> payload, DateTimeOffset receivedAt)
    {
        if (payload.Length > MaxPayloadBytes)
        {
            return [new Decoded.Refused(RefusalReason.TooLarge, $"{payload.Length} bytes, more than {MaxPayloadBytes}", payload)];
        }

        try
        {
            using var document = JsonDocument.Parse(payload, new JsonDocumentOptions { MaxDepth = 16 });
            var root = document.RootElement;
            if (root.ValueKind != JsonValueKind.Array)
            {
                return [DecodeElement(plan, unit, kind, root, payload, receivedAt)];
            }

            return [.. root.EnumerateArray().Select(e => DecodeElement(plan, unit, kind, e, Encoding.UTF8.GetBytes(e.GetRawText()), receivedAt))];
        }
        catch (JsonException fault)
        {
            return [new Decoded.Refused(RefusalReason.MalformedJson, $"not JSON, at byte {fault.BytePositionInLine + 1} of line {fault.LineNumber + 1}", payload)];
        }
        catch (InvalidOperationException)
        {
            // A string of broken UTF-8 or a lone surrogate shows only when it is asked for.
            return [new Decoded.Refused(RefusalReason.MalformedJson, "text that is not valid Unicode", payload)];
        }
    }

    /// <summary>Reads again which probes of a level message were wet; for those who draw a month of messages that were accepted long ago.</summary>
    /// <param name="accepted">The JSON of one accepted level message.</param>
    /// <returns>Bit i set when probe i is wet, and how many probes the message has.</returns>
    public static (int Wet, int Probes) ReadWet(ReadOnlySpan<byte> accepted)
    {
        var reader = new Utf8JsonReader(accepted, new JsonReaderOptions { MaxDepth = 16 });
        var (wet, probes) = (0, 0);
        while (reader.Read())
        {
            if (reader.TokenType != JsonTokenType.PropertyName || reader.CurrentDepth != 1 || !reader.ValueTextEquals("wet"u8))
            {
                continue;
            }

            (wet, probes) = (0, 0);
            for (reader.Read(); reader.Read() && reader.TokenType != JsonTokenType.EndArray; probes++)
            {
                wet |= reader.TokenType == JsonTokenType.True ? 1 << probes : 0;
            }
        }

        return (wet, probes);
    }

    private static Decoded DecodeElement(
        SitePlan plan, FieldUnit unit, MessageKind kind, JsonElement element, ReadOnlyMemory<byte> json, DateTimeOffset receivedAt)
    {
        try
        {
            if (element.ValueKind != JsonValueKind.Object)
            {
                return new Decoded.Refused(RefusalReason.WrongType, "not an object", json);
            }

            var members = new MessageMembers(element);
            var stamp = StampOf(unit.Id, members, receivedAt);
            var (seen, device) = Read(plan, unit, kind, members, stamp);
            return members.Fault is { } fault || seen is null
                ? new Decoded.Refused(members.Fault?.Reason ?? RefusalReason.UnknownDevice, members.Fault?.Detail ?? "", json)
                : new Decoded.Accepted(seen, IdentityOf(stamp, kind, device, json.Span), kind, json);
        }
        catch (InvalidOperationException)
        {
            return new Decoded.Refused(RefusalReason.MalformedJson, "text that is not valid Unicode", json);
        }
    }

    private static Stamp StampOf(UnitId unit, MessageMembers members, DateTimeOffset receivedAt)
    {
        DateTimeOffset? claimed = members.Time("at");
        var believed = claimed is { } at && at >= EarliestBelieved && at <= receivedAt + FarthestAhead;
        var boot = members.Whole("boot", uint.MaxValue);
        var seq = members.Whole("seq", (1L << 53) - 1);
        return new(unit, believed ? claimed!.Value : receivedAt, receivedAt, claimed, boot, seq);
    }

    private static (Observation? Seen, string Device) Read(
        SitePlan plan, FieldUnit unit, MessageKind kind, MessageMembers members, Stamp stamp)
    {
        switch (kind)
        {
            case MessageKind.Level:
                return members.Tank(plan, unit) is { } tank && members.Wet("wet", tank.Probes.Length) is { } wet
                    ? (new LevelObservation(stamp, tank.Index, wet), tank.Id.Value) : (null, "");
            case MessageKind.Pump:
                return members.Pump(plan, unit) is { } pump
                    ? (PumpOf(members, stamp, pump.Index), pump.Id.Value) : (null, "");
            case MessageKind.Inlet:
                return members.Pump(plan, unit) is { } fed && members.Flag("flowing", required: true) is { } flowing
                    ? (new InletObservation(stamp, fed.Index, flowing), fed.Id.Value) : (null, "");
            case MessageKind.Supply:
                var volts = members.Number("volts", 0, 1000);
                return members.Flag("mains", required: true) is { } mains ? (new SupplyObservation(stamp, mains, volts), "") : (null, "");
            default:
                return members.Flag("online", required: true) is { } online
                    ? (new StatusObservation(stamp, online, members.Text("firmware"), members.Number("signalDbm", -200, 50),
                        members.Number("batteryPercent", 0, 100)), "") : (null, "");
        }
    }

    private static PumpObservation PumpOf(MessageMembers members, Stamp stamp, int pump)
    {
        var running = members.OneOf("state", ["running", "stopped"], required: true) == "running";
        var cause = members.OneOf("cause", PumpCauses.Names, required: true);
        var mode = members.OneOf("mode", ["auto", "manual"], required: false);
        return new(
            stamp, pump, running, cause is null ? PumpCause.Unknown : PumpCauses.Parse(cause), mode is null ? null : mode == "manual",
            members.Number("volts", 0, 1000), members.Number("amps", 0, 1000), members.Number("watts", 0, 100_000));
    }

    /// <remarks>
    /// A message with no count of its own is known by its content. A time that is not believed cannot tell two such messages apart
    /// (a unit stuck in 1970 says the same again when the water comes back), so there the time of receipt does.
    /// </remarks>
    private static string IdentityOf(Stamp stamp, MessageKind kind, string device, ReadOnlySpan<byte> json)
    {
        if (stamp is { Boot: { } boot, Seq: { } seq })
        {
            return string.Create(System.Globalization.CultureInfo.InvariantCulture, $"{stamp.Unit.Value}/{boot}/{seq}");
        }

        Span<byte> hash = stackalloc byte[SHA256.HashSizeInBytes];
        SHA256.HashData(json, hash);
        return string.Create(
            System.Globalization.CultureInfo.InvariantCulture,
            $"{stamp.Unit.Value}/{NameOf(kind)}/{device}/{stamp.At.UtcTicks}/{Convert.ToHexStringLower(hash[..12])}");
    }
}
