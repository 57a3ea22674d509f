using System.Text.Json;
using TankWatch.Simulator;
using TankWatch.Simulator.Water;

namespace TankWatch.Core.Tests.Simulator;

internal sealed record SeenLevel(DateTimeOffset SentAt, string Tank, string Wet);

internal sealed record SeenPump(DateTimeOffset SentAt, string Pump, bool Running, string Cause, string Mode, double? Watts);

internal sealed record SeenRun(DateTimeOffset Started, DateTimeOffset? Stopped, string StartCause, string? StopCause)
{
    public double Seconds => (Stopped!.Value - Started).TotalSeconds;
}

/// <summary>A run of the simulator as its messages tell it, in the order of being sent.</summary>
internal sealed class Watched
{
    public Watched(IReadOnlyList<SimulatedMessage> messages, SiteTruth truth)
    {
        Messages = messages;
        Truth = truth;
        var bodies = messages.OrderBy(m => m.SentAt).SelectMany(Bodies).ToList();
        Levels = [.. bodies.Where(b => b.Kind is "level").Select(b => new SeenLevel(
            b.SentAt, Text(b.Body, "tank"), string.Concat(b.Body.GetProperty("wet").EnumerateArray().Select(w => w.GetBoolean() ? '1' : '0'))))];
        Pumps = [.. bodies.Where(b => b.Kind is "pump").Select(b => new SeenPump(
            b.SentAt, Text(b.Body, "pump"), Text(b.Body, "state") is "running", Text(b.Body, "cause"), Text(b.Body, "mode"),
            b.Body.TryGetProperty("watts", out var watts) ? watts.GetDouble() : null))];
        Inlets = [.. bodies.Where(b => b.Kind is "inlet").Select(b => (b.SentAt, b.Body.GetProperty("flowing").GetBoolean()))];
        Mains = [.. bodies.Where(b => b.Kind is "supply").Select(b => (b.SentAt, b.Body.GetProperty("mains").GetBoolean(), b.Body.GetProperty("volts").GetDouble()))];
    }

    public IReadOnlyList<SimulatedMessage> Messages { get; }
    public SiteTruth Truth { get; }
    public List<SeenLevel> Levels { get; }
    public List<SeenPump> Pumps { get; }
    public List<(DateTimeOffset SentAt, bool Flowing)> Inlets { get; }
    public List<(DateTimeOffset SentAt, bool On, double Volts)> Mains { get; }

    public IEnumerable<SeenRun> Runs(string pump)
    {
        SeenPump? start = null;
        foreach (var seen in Pumps.Where(p => string.Equals(p.Pump, pump, StringComparison.Ordinal)))
        {
            if (seen.Running)
            {
                start ??= seen;
            }
            else if (start is not null)
            {
                yield return new SeenRun(start.SentAt, seen.SentAt, start.Cause, seen.Cause);
                start = null;
            }
        }

        if (start is not null)
        {
            yield return new SeenRun(start.SentAt, null, start.Cause, null);
        }
    }

    public int StopsFor(string cause) => Pumps.Count(p => !p.Running && string.Equals(p.Cause, cause, StringComparison.Ordinal));

    /// <summary>What the unit last said of the tank's probes at or before a time.</summary>
    public string WetAt(string tank, DateTimeOffset at) => Levels.Last(l => l.SentAt <= at && string.Equals(l.Tank, tank, StringComparison.Ordinal)).Wet;

    public static IEnumerable<(DateTimeOffset SentAt, string Kind, JsonElement Body)> Bodies(SimulatedMessage message)
    {
        using var payload = JsonDocument.Parse(message.PayloadJson);
        var root = payload.RootElement.Clone();
        return root.ValueKind is JsonValueKind.Array
            ? root.EnumerateArray().Select(b => (message.SentAt, message.Kind, b))
            : [(message.SentAt, message.Kind, root)];
    }

    private static string Text(JsonElement body, string name) => body.GetProperty(name).GetString()!;
}
