using System.Collections.Immutable;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sparkplug;
using TankWatch.Core.Time;
using Xunit;

namespace TankWatch.Core.Tests.Sparkplug;

public sealed class SparkplugExampleTests
{
    private static readonly string[] Blocks =
        [.. File.ReadAllText(Path.Combine(AppContext.BaseDirectory, "Docs", "sparkplug.md")).Split("```").Where((_, i) => i % 2 == 1).Select(block => block[(block.IndexOf('\n', StringComparison.Ordinal) + 1)..])];

    [Fact]
    public void The_payloads_of_the_documentation_say_what_its_field_messages_say()
    {
        var plan = Plans.Of($$"""
            { "id": "house", "name": "House", "timeZone": "Etc/UTC",
              "tanks": [
                { "id": "sump", "role": "sump", "capacityLitres": 12000, "probes": [ { "name": "cut-out", "volumeLitres": 1500 } ] },
                { "id": "roof", "role": "overhead", "capacityLitres": 6000, "probes": [
                  { "name": "low", "volumeLitres": 1500 }, { "name": "mid", "volumeLitres": 3900 }, { "name": "high", "volumeLitres": 5800 } ] } ],
              "pumps": [ { "id": "p1", "from": "sump", "to": ["roof"] } ], "units": [ {{Blocks[0]}} ] }
            """);
        var received = Scenario.TimeOf("05:40");
        var node = EdgeNode.Start(new("works", "cellar"), [new MappedUnit(plan, plan.Units[0])], received).Next;
        var told = ImmutableArray.CreateBuilder<Observation>();
        foreach (var line in Blocks[1].Trim().Split('\n'))
        {
            var (topic, payload) = line.Split(' ') is [var t, var hex] ? (SparkplugTopic.Find(t)!.Value, Convert.FromHexString(hex)) : default;
            var step = node.Take(topic, payload, received);
            node = step.Next;
            told.AddRange(step.Said.Select(word => Assert.IsType<Decoded.Accepted>(word.Decoded).Seen));
        }

        var recording = new Recording(plan);
        foreach (var line in Blocks[2].Trim().Split('\n'))
        {
            recording.Add(line.Replace("{ \"topic\"", $"{{ \"received\": \"{Rfc3339.Format(received)}\", \"topic\"", StringComparison.Ordinal));
        }

        Assert.Empty(recording.Refused);
        Assert.Equal(recording.Observations.Order(Observation.Order), told.Order(Observation.Order));
    }
}
