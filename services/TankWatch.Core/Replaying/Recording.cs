using System.Globalization;
using System.Text;
using System.Text.Json;
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
    private readonly HashSet<MessageIdentity> identities = [];
    private readonly List<Observation> observations = [];
    private readonly List<RefusedLine> refused = [];
    private int line;

    /// <summary>Distinct observations, in the order of the file.</summary>
    public IReadOnlyList<Observation> Observations => observations;

    public IReadOnlyList<RefusedLine> Refused => refused;

    /// <summary>Takes the next line. Blank lines are skipped; what cannot be read is noted, and the rest goes on.</summary>
    public void Add(string text)
    {
        line++;
        if (string.IsNullOrWhiteSpace(text))
        {
            return;
        }

        try
        {
            using var document = JsonDocument.Parse(text, new JsonDocumentOptions { MaxDepth = 32 });
            Add(document.RootElement);
        }
        catch (JsonException fault)
        {
            Refuse(string.Create(CultureInfo.InvariantCulture, $"not JSON, at byte {fault.BytePositionInLine + 1}"));
        }
        catch (InvalidOperationException)
        {
            Refuse("text that is not valid Unicode");
        }
    }

    private void Add(JsonElement root)
    {
        if (root.ValueKind != JsonValueKind.Object || !root.TryGetProperty("topic", out var topic) || topic.ValueKind != JsonValueKind.String)
        {
            Refuse("not an object with a topic");
            return;
        }

        if (!root.TryGetProperty("payload", out var payload))
        {
            Refuse("no payload");
            return;
        }

        var kind = default(MessageKind);
        var detail = "";
        var isPack = SenmlDecoder.TryReadTopic(topic.GetString()!, out var unitId);
        if (!isPack && !FieldMessageDecoder.TryReadTopic(topic.GetString()!, out unitId, out kind, out detail))
        {
            Refuse(detail);
        }
        else if (plan.FindUnit(unitId) is not { } unit)
        {
            Refuse($"the site file names no unit {unitId}");
        }
        else if (ReceivedAt(root, payload) is not { } received)
        {
            Refuse("neither a time of receipt nor a time of the event can be read");
        }
        else
        {
            var json = Encoding.UTF8.GetBytes(payload.GetRawText());
            Take(isPack ? SenmlDecoder.Decode(plan, unit, json, received) : FieldMessageDecoder.Decode(plan, unit, kind, json, received));
        }
    }

    private static DateTimeOffset? ReceivedAt(JsonElement root, JsonElement payload)
    {
        if (root.TryGetProperty("received", out var received))
        {
            return Time(received);
        }

        var first = payload.ValueKind == JsonValueKind.Array && payload.GetArrayLength() > 0 ? payload[payload.GetArrayLength() - 1] : payload;
        return first.ValueKind == JsonValueKind.Object && first.TryGetProperty("at", out var at) ? Time(at) : null;
    }

    private static DateTimeOffset? Time(JsonElement value) =>
        value.ValueKind == JsonValueKind.String && Rfc3339.TryParse(value.GetString(), out var time) ? time : null;

    private void Take(IEnumerable<Decoded> decoded)
    {
        foreach (var element in decoded)
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
    }

    private void Refuse(string detail) => refused.Add(new(line, detail));
}
