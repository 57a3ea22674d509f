using System.Collections.Immutable;
using System.Globalization;
using System.Text;
using System.Text.Json;
using System.Text.Unicode;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Senml;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;

namespace TankWatch.Core.Replaying;

/// <summary>A line of a recording, or an element of its payload, that could not be read.</summary>
/// <param name="Line">From 1.</param>
/// <param name="Detail">Why not.</param>
public sealed record RefusedLine(int Line, string Detail);

/// <summary>A recording of one site: received messages as JSON Lines, fed one line at a time.</summary>
public sealed class Recording(SitePlan plan)
{
    private const int TopicsKept = 64;

    private readonly HashSet<MessageIdentity> identities = [];
    private readonly List<Observation> observations = [];
    private readonly List<RefusedLine> refused = [];
    private readonly List<Topic> topics = [];
    private int line;

    /// <summary>What a topic says; the few of a site are read once and not for each of a year's messages.</summary>
    /// <param name="Name">UTF-8.</param>
    /// <param name="Unit">Null when refused.</param>
    /// <param name="Kind">Of a field message.</param>
    /// <param name="IsPack">SenML.</param>
    /// <param name="Refusal">Why nothing of this topic can be taken; null when it can.</param>
    private sealed record Topic(byte[] Name, FieldUnit? Unit, MessageKind Kind, bool IsPack, string? Refusal);

    /// <summary>Distinct observations, in the order of the file.</summary>
    public IReadOnlyList<Observation> Observations => observations;

    public IReadOnlyList<RefusedLine> Refused => refused;

    /// <summary>Takes the next line. Blank lines are skipped; what cannot be read is noted, and the rest goes on.</summary>
    public void Add(string text) => Add(Encoding.UTF8.GetBytes(text));

    /// <inheritdoc cref="Add(string)"/>
    /// <param name="utf8">Bytes that are no UTF-8 stand for the replacement character. Not kept.</param>
    public void Add(ReadOnlyMemory<byte> utf8)
    {
        line++;
        var text = Utf8.IsValid(utf8.Span) ? utf8 : Encoding.UTF8.GetBytes(Encoding.UTF8.GetString(utf8.Span));
        try
        {
            RecordedLine.Read(text.Span, out var members);
            Take(text, in members);
        }
        catch (JsonException fault)
        {
            if (!string.IsNullOrWhiteSpace(Encoding.UTF8.GetString(text.Span)))
            {
                Refuse(string.Create(CultureInfo.InvariantCulture, $"not JSON, at byte {fault.BytePositionInLine + 1}"));
            }
        }
        catch (InvalidOperationException)
        {
            Refuse("text that is not valid Unicode");
        }
    }

    private void Take(ReadOnlyMemory<byte> text, in RecordedLine members)
    {
        if (members.Topic.Type != JsonTokenType.String)
        {
            Refuse("not an object with a topic");
            return;
        }

        if (members.Payload.Type == JsonTokenType.None)
        {
            Refuse("no payload");
            return;
        }

        var topic = TopicOf(JsonTexts.TextOf(Of(text, members.Topic).Span, members.Topic.IsEscaped));
        var payload = Of(text, members.Payload);
        if (topic.Refusal is { } refusal)
        {
            Refuse(refusal);
        }
        else if (ReceivedAt(text, members) is not { } received)
        {
            Refuse("neither a time of receipt nor a time of the event can be read");
        }
        else if (members.HasMembers && !topic.IsPack)
        {
            Take(FieldMessageDecoder.Decode(plan, topic.Unit!, topic.Kind, payload, in members.Members, received));
        }
        else
        {
            Take(topic.IsPack ? SenmlDecoder.Decode(plan, topic.Unit!, payload, received)
                : FieldMessageDecoder.Decode(plan, topic.Unit!, topic.Kind, payload, received));
        }
    }

    private Topic TopicOf(ReadOnlySpan<byte> name)
    {
        foreach (var known in topics)
        {
            if (name.SequenceEqual(known.Name))
            {
                return known;
            }
        }

        var read = ReadTopic(name.ToArray());
        if (topics.Count < TopicsKept)
        {
            topics.Add(read);
        }

        return read;
    }

    private Topic ReadTopic(byte[] name)
    {
        var text = Encoding.UTF8.GetString(name);
        var (kind, detail) = (default(MessageKind), "");
        var isPack = SenmlDecoder.TryReadTopic(text, out var id);
        if (!isPack && !FieldMessageDecoder.TryReadTopic(text, out id, out kind, out detail))
        {
            return new(name, null, kind, isPack, detail);
        }

        var unit = plan.FindUnit(id);
        return new(name, unit, kind, isPack, unit is null ? $"the site file names no unit {id}" : null);
    }

    private static DateTimeOffset? ReceivedAt(ReadOnlyMemory<byte> text, in RecordedLine members)
    {
        if (members.Received.Type != JsonTokenType.None)
        {
            return members.Received.Type == JsonTokenType.String ? JsonTexts.TimeOf(Of(text, members.Received).Span, members.Received.IsEscaped) : null;
        }

        using var document = JsonDocument.Parse(Of(text, members.Payload));
        var payload = document.RootElement;
        var last = payload.ValueKind == JsonValueKind.Array && payload.GetArrayLength() > 0 ? payload[payload.GetArrayLength() - 1] : payload;
        return last.ValueKind == JsonValueKind.Object && last.TryGetProperty("at", out var at) && at.ValueKind == JsonValueKind.String
            && Rfc3339.TryParse(at.GetString(), out var time) ? time : null;
    }

    private static ReadOnlyMemory<byte> Of(ReadOnlyMemory<byte> text, MemberValue value) => text.Slice(value.Start, value.Length);

    private void Take(ImmutableArray<Decoded> decoded)
    {
        foreach (var element in decoded)
        {
            Take(element);
        }
    }

    private void Take(Decoded element)
    {
        switch (element)
        {
            case Decoded.Accepted accepted when identities.Add(accepted.Identity):
                observations.Add(accepted.Seen);
                break;
            case Decoded.Refused fault:
                Refuse($"{RefusalNames.Of(fault.Reason)}: {fault.Detail}");
                break;
        }
    }

    private void Refuse(string detail) => refused.Add(new(line, detail));
}
