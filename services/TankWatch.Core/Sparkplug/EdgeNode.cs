using System.Collections.Immutable;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Sparkplug;

/// <summary>A unit that speaks Sparkplug B.</summary>
/// <param name="Plan">Its site.</param>
/// <param name="Unit">With a mapping.</param>
public sealed record MappedUnit(SitePlan Plan, FieldUnit Unit);

/// <summary>What a unit said by way of its edge node, or what could not be taken of it.</summary>
/// <param name="Unit">Whose word.</param>
/// <param name="Decoded">Taken or refused.</param>
/// <param name="Topic">Of the message that said it.</param>
/// <param name="ReceivedAt">When that came, which may be before the step that took it.</param>
public sealed record EdgeWord(MappedUnit Unit, Decoded Decoded, SparkplugTopic Topic, DateTimeOffset ReceivedAt);

/// <summary>The state after a step, what was said in it, and whether the node is to be asked for its births.</summary>
public sealed record EdgeStep(EdgeNode Next, ImmutableArray<EdgeWord> Said, bool AskRebirth);

/// <summary>
/// A host's view of one edge node of Sparkplug B 3.0: births, data and deaths in the order of their sequence numbers. Times are inputs, and
/// every step gives the next state; it throws for no payload. A host that starts knows no birth, and asks for one.
/// </summary>
public sealed record EdgeNode
{
    /// <summary>How long a missing message may be on its way before a rebirth is asked for ([operational-behavior-host-reordering-start]).</summary>
    public static readonly TimeSpan ReorderTimeout = TimeSpan.FromSeconds(5);

    /// <summary>A node that cannot be understood is asked for its births no more often.</summary>
    public static readonly TimeSpan RebirthEvery = TimeSpan.FromSeconds(30);

    private const int HeldMessages = 64;
    private const int HeldBytes = FieldMessageDecoder.MaxPayloadBytes;

    private EdgeNode(EdgeNodeId id, ImmutableArray<MappedUnit> units) =>
        (Id, Metrics) = (id, units.ToImmutableDictionary(unit => unit.Unit.Sparkplug!.Device, unit => new EdgeMetrics(unit), StringComparer.Ordinal));

    public EdgeNodeId Id { get; }

    /// <summary>Its birth is known, and no death since.</summary>
    public bool IsBorn { get; private init; }

    /// <summary>When to call <see cref="Tick"/>, if nothing came before; null when there is nothing to wait for.</summary>
    public DateTimeOffset? WaitsUntil => GivesUpAt < AsksAt || AsksAt is null ? GivesUpAt : AsksAt;

    /// <summary>When what waits is taken without what is missing.</summary>
    private DateTimeOffset? GivesUpAt { get; init; }

    /// <summary>When to ask for a rebirth, where that was done too lately.</summary>
    private DateTimeOffset? AsksAt { get; init; }

    /// <summary>By device, empty for the node itself.</summary>
    private ImmutableDictionary<string, EdgeMetrics> Metrics { get; init; }
    private ImmutableHashSet<string> Born { get; init; } = [];
    private ulong? BdSeq { get; init; }
    private int NextSeq { get; init; }
    private ImmutableDictionary<int, Held> Waiting { get; init; } = ImmutableDictionary<int, Held>.Empty;
    private DateTimeOffset? AskedAt { get; init; }

    /// <summary>Begins with an edge node of which nothing is known.</summary>
    /// <param name="id">The edge node.</param>
    /// <param name="units">Those that it speaks for, at least one.</param>
    /// <param name="now">UTC.</param>
    public static EdgeStep Start(EdgeNodeId id, ImmutableArray<MappedUnit> units, DateTimeOffset now) => new EdgeNode(id, units).Asking(now, []);

    /// <param name="topic">Of this node.</param>
    /// <param name="bytes">The payload, any bytes.</param>
    /// <param name="receivedAt">UTC.</param>
    public EdgeStep Take(SparkplugTopic topic, ReadOnlyMemory<byte> bytes, DateTimeOffset receivedAt)
    {
        if (bytes.Length > FieldMessageDecoder.MaxPayloadBytes)
        {
            return Refuse(topic, RefusalReason.TooLarge, $"{bytes.Length} bytes, more than {FieldMessageDecoder.MaxPayloadBytes}", bytes, receivedAt);
        }

        if (SparkplugPayload.Find(bytes) is not { } payload)
        {
            return Refuse(
                topic, RefusalReason.MalformedPayload, $"no Sparkplug B payload of at most {SparkplugPayload.MaxMetrics} metrics", bytes, receivedAt);
        }

        var message = new Held(topic, payload, bytes, receivedAt);
        if (topic.Type == SparkplugType.NDEATH)
        {
            return Death(message);
        }

        // [payloads-sequence-num-always-included], [payloads-sequence-num-incrementing]
        if (payload.Seq is not (>= 0 and <= 255 and var seq))
        {
            return Refuse(topic, RefusalReason.OutOfRange, "seq: must be a whole number from 0 to 255", bytes, receivedAt);
        }

        if (topic.Type == SparkplugType.NBIRTH)
        {
            return Birth(message, (int)seq);
        }

        return IsBorn ? InOrder(message, (int)seq)
            : Refuse(topic, RefusalReason.BeforeBirth, "the edge node's birth is not known here", bytes, receivedAt).Ask(receivedAt);
    }

    /// <summary>Lets time pass: what waited too long for a missing message is taken without it, and a rebirth asked for.</summary>
    public EdgeStep Tick(DateTimeOffset now) => GivesUpAt <= now ? TakeWaiting().Ask(now) : AsksAt <= now ? Asking(now, []) : new(this, [], false);

    /// <summary>What was seen to be missing is not waited for any more.</summary>
    private EdgeStep TakeWaiting()
    {
        var (node, said, ask) = (this with { Waiting = Waiting.Clear(), GivesUpAt = null }, ImmutableArray<EdgeWord>.Empty, false);
        foreach (var (seq, message) in Waiting.OrderBy(held => Distance(held.Key)))
        {
            var step = (node with { NextSeq = (seq + 1) % 256 }).Apply(message);
            (node, said, ask) = (step.Next, said.AddRange(step.Said), ask || step.AskRebirth);
        }

        return new(node, said, ask);
    }

    private EdgeStep InOrder(Held message, int seq)
    {
        if (seq != NextSeq)
        {
            return Hold(message, seq);
        }

        var step = (this with { NextSeq = (seq + 1) % 256 }).Apply(message);
        var (node, said, ask) = step;
        while (node.Waiting.TryGetValue(node.NextSeq, out var next))
        {
            step = (node with { NextSeq = (node.NextSeq + 1) % 256, Waiting = node.Waiting.Remove(node.NextSeq) }).Apply(next);
            (node, said, ask) = (step.Next, said.AddRange(step.Said), ask || step.AskRebirth);
        }

        // [operational-behavior-host-reordering-success]: what was missing has come.
        return new(node.Waiting.IsEmpty ? node with { GivesUpAt = null } : node, said, ask);
    }

    private EdgeStep Hold(Held message, int seq)
    {
        if (Waiting.ContainsKey(seq) || Waiting.Count == HeldMessages || Waiting.Values.Sum(held => held.Bytes.Length) + message.Bytes.Length > HeldBytes)
        {
            // More than a message out of its turn: this node's numbers tell nothing until it is born again.
            var now = message.ReceivedAt;
            var (node, said, ask) = TakeWaiting().Ask(now);
            var step = (node with { NextSeq = (seq + 1) % 256 }).Apply(message);
            return new(step.Next, said.AddRange(step.Said), ask || step.AskRebirth);
        }

        return new(this with { Waiting = Waiting.Add(seq, message), GivesUpAt = GivesUpAt ?? message.ReceivedAt + ReorderTimeout }, [], false);
    }

    private EdgeStep Birth(Held message, int seq)
    {
        // What waited was said before this birth, in the terms of the one before.
        var (before, said, _) = TakeWaiting();
        var node = before with { IsBorn = true, BdSeq = message.Payload.BdSeq, NextSeq = (seq + 1) % 256, Born = [""], AsksAt = null };
        var born = node.TakeBirth(message);
        return born with { Said = said.AddRange(born.Said) };
    }

    /// <summary>
    /// A death belongs to the birth of its bdSeq ([payloads-ndeath-bdseq]): the will of a connection that has been replaced comes late, and must not kill
    /// its successor. The node's devices are gone with it, at the host's time ([operational-behavior-edge-node-termination-host-action]).
    /// </summary>
    private EdgeStep Death(Held message)
    {
        if (!IsBorn || (message.Payload.BdSeq is { } number && BdSeq is { } born && number != born))
        {
            return new(this, [], false);
        }

        var (node, said, _) = TakeWaiting();
        var gone = node.Metrics.Values.SelectMany(unit => WordsOf(unit, unit.Online(false, message.ReceivedAt), message));
        return new(node with { IsBorn = false, Born = [] }, said.AddRange(gone), false);
    }

    private EdgeStep Apply(Held message)
    {
        switch (message.Topic.Type)
        {
            case SparkplugType.DBIRTH:
                return (this with { Born = Born.Add(message.Device) }).TakeBirth(message);
            case SparkplugType.DDEATH:
                var node = this with { Born = Born.Remove(message.Device) };
                var at = EdgeMetrics.TimeOf(message.Payload.Timestamp) ?? message.ReceivedAt;
                return new(node, Metrics.TryGetValue(message.Device, out var dead) ? WordsOf(dead, dead.Online(false, at), message) : [], false);
            default:
                return Data(message);
        }
    }

    private EdgeStep TakeBirth(Held message)
    {
        if (!Metrics.TryGetValue(message.Device, out var unit))
        {
            return new(this, [], false);
        }

        var (next, said, lacking) = unit.Birth(message.Payload, message.ReceivedAt);
        var refused = lacking.Select(name => new EdgeWord(unit.Unit, new Decoded.Refused(
            RefusalReason.MissingMember, $"the birth has no metric '{name}', which the site file names", message.Bytes),
            message.Topic, message.ReceivedAt));
        return new(this with { Metrics = Metrics.SetItem(message.Device, next) }, [.. WordsOf(next, said, message), .. refused], false);
    }

    private EdgeStep Data(Held message)
    {
        if (!Metrics.TryGetValue(message.Device, out var unit))
        {
            return new(this, [], false);
        }

        if (!Born.Contains(message.Device))
        {
            return Refuse(message.Topic, RefusalReason.BeforeBirth, "the device's birth is not known here", message.Bytes, message.ReceivedAt).Ask(message.ReceivedAt);
        }

        var (next, said, odd) = unit.Data(message.Payload, message.ReceivedAt);
        var refused = odd.Select(name => new EdgeWord(unit.Unit, new Decoded.Refused(
            RefusalReason.WrongType, $"the metric '{name}' must be true or false, a finite number or text", message.Bytes),
            message.Topic, message.ReceivedAt));
        return new(this with { Metrics = Metrics.SetItem(message.Device, next) }, [.. WordsOf(next, said, message), .. refused], false);
    }

    private static ImmutableArray<EdgeWord> WordsOf(EdgeMetrics unit, ReadingGatherer said, Held message) =>
        [.. said.Messages().SelectMany(made => FieldMessageDecoder.Decode(unit.Unit.Plan, unit.Unit.Unit, made.Kind, made.Json, message.ReceivedAt))
            .Select(decoded => new EdgeWord(unit.Unit, decoded, message.Topic, message.ReceivedAt))];

    /// <summary>A device that no site file names is nobody's loss; what is wrong with the node itself is told to one of its units.</summary>
    private EdgeStep Refuse(SparkplugTopic topic, RefusalReason reason, string detail, ReadOnlyMemory<byte> bytes, DateTimeOffset receivedAt)
    {
        var unit = Metrics.GetValueOrDefault(topic.Device)
            ?? (topic.Device == "" ? Metrics.OrderBy(known => known.Key, StringComparer.Ordinal).First().Value : null);
        return new(this, unit is null ? [] : [new(unit.Unit, new Decoded.Refused(reason, detail, bytes), topic, receivedAt)], false);
    }

    /// <summary>Asks for a rebirth, now or when the last request is long enough ago.</summary>
    internal EdgeStep Asking(DateTimeOffset now, ImmutableArray<EdgeWord> said) => AskedAt + RebirthEvery > now
        ? new(this with { AsksAt = AskedAt + RebirthEvery }, said, false)
        : new(this with { AskedAt = now, AsksAt = null }, said, true);

    private int Distance(int seq) => (seq - NextSeq + 256) % 256;

    private sealed record Held(SparkplugTopic Topic, SparkplugPayload Payload, ReadOnlyMemory<byte> Bytes, DateTimeOffset ReceivedAt)
    {
        public string Device => Topic.Device;
    }
}

internal static class EdgeSteps
{
    /// <summary>Asks for a rebirth as well.</summary>
    public static EdgeStep Ask(this EdgeStep step, DateTimeOffset now)
    {
        var asking = step.Next.Asking(now, step.Said);
        return asking with { AskRebirth = asking.AskRebirth || step.AskRebirth };
    }
}
