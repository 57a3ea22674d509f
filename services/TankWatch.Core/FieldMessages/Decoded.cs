using TankWatch.Core.Observations;

namespace TankWatch.Core.FieldMessages;

/// <summary>The kinds of field message; their names in topics are a format.</summary>
public enum MessageKind { Level, Pump, Inlet, Supply, Status }

/// <summary>Why a message could not be taken. Stored names (see <see cref="RefusalNames"/>): add, never rename.</summary>
public enum RefusalReason
{
    UnknownTopic, UnknownUnit, TooLarge, MalformedJson, WrongType, MissingMember, OutOfRange, UnknownDevice, WrongProbeCount,

    /// <summary>Binary that is not what its topic says: no CBOR, no protobuf.</summary>
    MalformedPayload,

    /// <summary>It says itself that it must not be used by whoever does not know all of it.</summary>
    NotUnderstood,

    /// <summary>Sparkplug data of which no birth certificate has said what they mean.</summary>
    BeforeBirth,
}

/// <summary>What became of one message, or of one element of a backlog array.</summary>
/// <param name="Json">The element as it came, UTF-8.</param>
public abstract record Decoded(ReadOnlyMemory<byte> Json)
{
    /// <param name="Seen">Fitted to the site's plan.</param>
    /// <param name="Identity">A second message of the same identity changes nothing.</param>
    /// <param name="Kind">As in the topic.</param>
    /// <param name="Json">The element as it came, UTF-8.</param>
    public sealed record Accepted(Observation Seen, MessageIdentity Identity, MessageKind Kind, ReadOnlyMemory<byte> Json) : Decoded(Json);

    /// <param name="Reason">For counting.</param>
    /// <param name="Detail">For a person; names the member at fault.</param>
    /// <param name="Json">The element as it came, or the whole payload.</param>
    public sealed record Refused(RefusalReason Reason, string Detail, ReadOnlyMemory<byte> Json) : Decoded(Json);
}

public static class RefusalNames
{
    public static string Of(RefusalReason reason) => reason switch
    {
        RefusalReason.UnknownTopic => "unknown-topic",
        RefusalReason.UnknownUnit => "unknown-unit",
        RefusalReason.TooLarge => "too-large",
        RefusalReason.MalformedJson => "malformed-json",
        RefusalReason.WrongType => "wrong-type",
        RefusalReason.MissingMember => "missing-member",
        RefusalReason.OutOfRange => "out-of-range",
        RefusalReason.UnknownDevice => "unknown-device",
        RefusalReason.WrongProbeCount => "wrong-probe-count",
        RefusalReason.MalformedPayload => "malformed-payload",
        RefusalReason.NotUnderstood => "not-understood",
        RefusalReason.BeforeBirth => "before-birth",
        _ => throw new ArgumentOutOfRangeException(nameof(reason)),
    };
}
