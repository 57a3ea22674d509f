using System.Collections.Immutable;
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

    /// <summary>A payload nested deeper is refused.</summary>
    public const int MaxDepth = 16;

    public const string TopicPrefix = "tankwatch/v1/";

    private static readonly string[] States = ["running", "stopped"];
    private static readonly string[] Modes = ["auto", "manual"];
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
        var rest = topic.StartsWith(TopicPrefix, StringComparison.Ordinal) ? topic.AsSpan(TopicPrefix.Length) : default;
        var slash = rest.IndexOf('/');
        if (slash < 0 || slash != rest.LastIndexOf('/'))
        {
            detail = "the topic is not tankwatch/v1/{unit}/{kind}";
            return false;
        }

        var id = rest[..slash].ToString();
        if (!IdRule.Holds(id))
        {
            detail = $"the unit's id is not {IdRule.InWords}";
            return false;
        }

        unit = new(id);
        if (FindKind(rest[(slash + 1)..]) is not { } known)
        {
            detail = "the topic's kind is none of level, pump, inlet, supply, status, senml";
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

    public static MessageKind? FindKind(ReadOnlySpan<char> name) => name switch
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
            return [TooLarge(payload)];
        }

        try
        {
            return ReadPayload(plan, unit, kind, payload, receivedAt);
        }
        catch (JsonException fault)
        {
            return [new Decoded.Refused(RefusalReason.MalformedJson, $"not JSON, at byte {fault.BytePositionInLine + 1} of line {fault.LineNumber + 1}", payload)];
        }
    }

    /// <summary>Decodes a payload that is one object, whose members were read with what it stood in.</summary>
    /// <inheritdoc cref="Decode(SitePlan, FieldUnit, MessageKind, ReadOnlyMemory{byte}, DateTimeOffset)"/>
    internal static Decoded Decode(
        SitePlan plan, FieldUnit unit, MessageKind kind, ReadOnlyMemory<byte> payload, in MemberTable members, DateTimeOffset receivedAt) =>
        payload.Length > MaxPayloadBytes ? TooLarge(payload) : DecodeObject(plan, unit, kind, payload, payload, in members, receivedAt);

    private static Decoded.Refused TooLarge(ReadOnlyMemory<byte> payload) =>
        new(RefusalReason.TooLarge, $"{payload.Length} bytes, more than {MaxPayloadBytes}", payload);

    private static ImmutableArray<Decoded> ReadPayload(
        SitePlan plan, FieldUnit unit, MessageKind kind, ReadOnlyMemory<byte> payload, DateTimeOffset receivedAt)
    {
        var reader = new Utf8JsonReader(payload.Span, new JsonReaderOptions { MaxDepth = MaxDepth });
        reader.Read();
        if (reader.TokenType != JsonTokenType.StartArray)
        {
            var only = DecodeElement(plan, unit, kind, ref reader, payload, payload, receivedAt);
            reader.Read(); // Nothing may stand behind it.
            return [only];
        }

        var elements = ImmutableArray.CreateBuilder<Decoded>();
        while (reader.Read() && reader.TokenType != JsonTokenType.EndArray)
        {
            elements.Add(DecodeElement(plan, unit, kind, ref reader, payload, null, receivedAt));
        }

        reader.Read();
        return elements.DrainToImmutable();
    }

    /// <summary>Reads one element to its end, whether it is taken or refused.</summary>
    /// <param name="plan">The site.</param>
    /// <param name="unit">Of the site.</param>
    /// <param name="kind">From the topic.</param>
    /// <param name="reader">At the element's start.</param>
    /// <param name="payload">What the reader reads.</param>
    /// <param name="whole">The element with the blanks around it, when the payload is nothing else.</param>
    /// <param name="receivedAt">UTC.</param>
    private static Decoded DecodeElement(
        SitePlan plan, FieldUnit unit, MessageKind kind, ref Utf8JsonReader reader, ReadOnlyMemory<byte> payload, ReadOnlyMemory<byte>? whole,
        DateTimeOffset receivedAt)
    {
        var start = (int)reader.TokenStartIndex;
        if (reader.TokenType != JsonTokenType.StartObject)
        {
            reader.Skip();
            return new Decoded.Refused(RefusalReason.WrongType, "not an object", whole ?? payload[start..(int)reader.BytesConsumed]);
        }

        var isText = MemberTable.Read(ref reader, out var table);
        var json = payload[start..(int)reader.BytesConsumed];
        return isText ? DecodeObject(plan, unit, kind, json, whole ?? json, in table, receivedAt) : NotText(whole ?? json);
    }

    private static Decoded.Refused NotText(ReadOnlyMemory<byte> json) => new(RefusalReason.MalformedJson, "text that is not valid Unicode", json);

    private static Decoded DecodeObject(
        SitePlan plan, FieldUnit unit, MessageKind kind, ReadOnlyMemory<byte> json, ReadOnlyMemory<byte> whole, in MemberTable table, DateTimeOffset receivedAt)
    {
        var members = new MessageMembers(json.Span, in table);
        try
        {
            return DecodeMembers(plan, unit, kind, ref members, whole, receivedAt);
        }
        catch (InvalidOperationException)
        {
            return NotText(whole);
        }
    }

    private static Decoded DecodeMembers(
        SitePlan plan, FieldUnit unit, MessageKind kind, ref MessageMembers members, ReadOnlyMemory<byte> json, DateTimeOffset receivedAt)
    {
        var stamp = StampOf(unit.Id, ref members, receivedAt);
        var (seen, device) = Read(plan, unit, kind, ref members, stamp);
        return members.Fault is { } fault || seen is null
            ? new Decoded.Refused(members.Fault?.Reason ?? RefusalReason.UnknownDevice, members.Fault?.Detail ?? "", json)
            : new Decoded.Accepted(seen, IdentityOf(stamp, kind, device, json.Span), kind, json);
    }

    private static Stamp StampOf(UnitId unit, ref MessageMembers members, DateTimeOffset receivedAt)
    {
        var claimed = members.Time(Member.At);
        var believed = claimed is { } at && at >= EarliestBelieved && at <= receivedAt + FarthestAhead;
        var boot = members.Whole(Member.Boot, "boot", uint.MaxValue);
        var seq = members.Whole(Member.Seq, "seq", (1L << 53) - 1);
        return new(unit, believed ? claimed!.Value : receivedAt, receivedAt, claimed, boot, seq);
    }

    private static (Observation? Seen, string Device) Read(
        SitePlan plan, FieldUnit unit, MessageKind kind, ref MessageMembers members, Stamp stamp)
    {
        switch (kind)
        {
            case MessageKind.Level:
                return members.Tank(plan, unit) is { } tank && members.Wet(tank.Probes.Length) is { } wet
                    ? (new LevelObservation(stamp, tank.Index, wet), tank.Id.Value) : (null, "");
            case MessageKind.Pump:
                return members.Pump(plan, unit) is { } pump
                    ? (PumpOf(ref members, stamp, pump.Index), pump.Id.Value) : (null, "");
            case MessageKind.Inlet:
                return members.Pump(plan, unit) is { } fed && members.Flag(Member.Flowing, "flowing") is { } flowing
                    ? (new InletObservation(stamp, fed.Index, flowing), fed.Id.Value) : (null, "");
            case MessageKind.Supply:
                var volts = members.Number(Member.Volts, "volts", 0, 1000);
                return members.Flag(Member.Mains, "mains") is { } mains ? (new SupplyObservation(stamp, mains, volts), "") : (null, "");
            default:
                return members.Flag(Member.Online, "online") is { } online
                    ? (new StatusObservation(stamp, online, members.Text(Member.Firmware, "firmware"), members.Number(Member.SignalDbm, "signalDbm", -200, 50),
                        members.Number(Member.BatteryPercent, "batteryPercent", 0, 100)), "") : (null, "");
        }
    }

    private static PumpObservation PumpOf(ref MessageMembers members, Stamp stamp, int pump)
    {
        var running = members.OneOf(Member.State, "state", States, required: true) == "running";
        var cause = members.OneOf(Member.Cause, "cause", PumpCauses.Names, required: true);
        var mode = members.OneOf(Member.Mode, "mode", Modes, required: false);
        return new(
            stamp, pump, running, cause is null ? PumpCause.Unknown : PumpCauses.Parse(cause), mode is null ? null : mode == "manual",
            members.Number(Member.Volts, "volts", 0, 1000), members.Number(Member.Amps, "amps", 0, 1000), members.Number(Member.Watts, "watts", 0, 100_000));
    }

    /// <remarks>
    /// A message with no count of its own is known by its content. A time that is not believed cannot tell two such messages apart
    /// (a unit stuck in 1970 says the same again when the water comes back), so there the time of receipt does.
    /// </remarks>
    private static MessageIdentity IdentityOf(Stamp stamp, MessageKind kind, string device, ReadOnlySpan<byte> json) =>
        stamp is { Boot: { } boot, Seq: { } seq }
            ? MessageIdentity.OfCount(stamp.Unit, boot, seq)
            : MessageIdentity.OfContent(stamp.Unit, kind, device, stamp.At, json);
}
