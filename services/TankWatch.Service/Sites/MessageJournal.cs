using System.Collections.Immutable;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Senml;
using TankWatch.Core.Sites;
using TankWatch.Core.Sparkplug;
using TankWatch.Service.Ingest;
using TankWatch.Service.Storage;
using TankWatch.Service.Storage.Series;

namespace TankWatch.Service.Sites;

/// <summary>Messages decoded and sorted, ready for one transaction.</summary>
internal sealed class MessageBatch
{
    public List<JournalEntry> Accepted { get; } = [];
    public List<RefusedEntry> Refused { get; } = [];
    public bool IsEmpty => Accepted.Count == 0 && Refused.Count == 0;
}

/// <summary>Sorts what came into rows of the journal and refusals.</summary>
internal sealed partial class MessageJournal(SparkplugHost sparkplug, ServiceMetrics metrics, ILogger logger)
{
    /// <summary>Decodes by the plan of the unit's site. Never throws for any message.</summary>
    /// <param name="messages">In order of receipt.</param>
    /// <param name="findPlan">The site whose file names the unit.</param>
    /// <param name="now">UTC; for edge nodes of which a message is missing.</param>
    public MessageBatch Decode(IEnumerable<ReceivedMessage> messages, Func<UnitId, SitePlan?> findPlan, DateTimeOffset now)
    {
        var batch = new MessageBatch();
        TakeSparkplug(() => sparkplug.Tick(now), new("", ReadOnlyMemory<byte>.Empty, false, now), batch);
        foreach (var message in messages)
        {
            metrics.Received(1);
            if (message.Topic.StartsWith($"{SparkplugTopic.Namespace}/", StringComparison.Ordinal))
            {
                TakeSparkplug(() => sparkplug.Take(message), message, batch);
            }
            else
            {
                Decode(message, findPlan, batch);
            }
        }

        return batch;
    }

    private void Decode(ReceivedMessage message, Func<UnitId, SitePlan?> findPlan, MessageBatch batch)
    {
        var kind = default(MessageKind);
        var detail = "";
        var isPack = SenmlDecoder.TryReadTopic(message.Topic, out var unitId);
        if (!isPack && !FieldMessageDecoder.TryReadTopic(message.Topic, out unitId, out kind, out detail))
        {
            // A unit that is known and only misspells the kind finds its message among its own.
            var isKnown = unitId.Value is not null && findPlan(unitId)?.FindUnit(unitId) is not null;
            batch.Refused.Add(new(
                unitId.Value is null ? null : unitId, isKnown, message.Topic, message.Payload, RefusalReason.UnknownTopic, detail, message.ReceivedAt));
            return;
        }

        if (findPlan(unitId) is not { } plan || plan.FindUnit(unitId) is not { } unit)
        {
            batch.Refused.Add(new(
                unitId, false, message.Topic, message.Payload, RefusalReason.UnknownUnit, "no site's file names this unit", message.ReceivedAt));
            return;
        }

        foreach (var decoded in DecodePayload(plan, unit, isPack ? null : kind, message))
        {
            switch (decoded)
            {
                case Decoded.Accepted accepted:
                    batch.Accepted.Add(new(plan, accepted, message.Retained) { Trace = message.Trace });
                    break;
                case Decoded.Refused refused:
                    batch.Refused.Add(new(unitId, true, message.Topic, refused.Json, refused.Reason, refused.Detail, message.ReceivedAt));
                    break;
            }
        }
    }

    private void TakeSparkplug(Func<ImmutableArray<EdgeWord>> step, ReceivedMessage message, MessageBatch batch)
    {
        try
        {
            Add(step(), batch);
        }
        catch (Exception fault)
        {
            // A broken promise, as below; whose message it was is not known any more.
            LogDecoderFault(fault, Mail.MailWords.OneLine(message.Topic, 120));
            batch.Refused.Add(new(null, false, message.Topic, message.Payload, RefusalReason.MalformedPayload, "could not be decoded", message.ReceivedAt));
        }
    }

    private static void Add(ImmutableArray<EdgeWord> words, MessageBatch batch)
    {
        foreach (var word in words)
        {
            switch (word.Decoded)
            {
                case Decoded.Accepted accepted:
                    batch.Accepted.Add(new(word.Unit.Plan, accepted, false));
                    break;
                case Decoded.Refused refused:
                    batch.Refused.Add(new(word.Unit.Unit.Id, true, word.Topic.ToString(), refused.Json, refused.Reason, refused.Detail, word.ReceivedAt));
                    break;
            }
        }
    }

    /// <param name="plan">The site.</param>
    /// <param name="unit">Of the site.</param>
    /// <param name="kind">Null for a pack of sensor measurements.</param>
    /// <param name="message">As it came.</param>
    private ImmutableArray<Decoded> DecodePayload(SitePlan plan, FieldUnit unit, MessageKind? kind, ReceivedMessage message)
    {
        try
        {
            return kind is { } known
                ? FieldMessageDecoder.Decode(plan, unit, known, message.Payload, message.ReceivedAt)
                : SenmlDecoder.Decode(plan, unit, message.Payload, message.ReceivedAt);
        }
        catch (Exception fault)
        {
            // A broken promise of the decoder must not stop the messages behind this one.
            LogDecoderFault(fault, Mail.MailWords.OneLine(message.Topic, 120));
            return [new Decoded.Refused(RefusalReason.MalformedJson, "could not be decoded", message.Payload)];
        }
    }

    [LoggerMessage(Level = LogLevel.Error, Message = "the decoder failed on a message to {Topic}")]
    private partial void LogDecoderFault(Exception fault, string topic);
}
