using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Sparkplug;
using Xunit;
using static TankWatch.Core.Tests.Sparkplug.SparkplugBytes;

namespace TankWatch.Core.Tests.Sparkplug;

/// <summary>An edge node <c>works/cellar</c> that a host watches: the roof tank by one Boolean a probe, pump and mains by the node; and a device with the sump.</summary>
internal sealed class Edge
{
    public static readonly EdgeNodeId Id = new("works", "cellar");

    public static readonly SitePlan Plan = Plans.Of("""
        {
          "id": "house", "name": "House", "timeZone": "Etc/UTC",
          "tanks": [
            { "id": "sump", "role": "sump", "capacityLitres": 12000, "probes": [ { "name": "cut-out", "volumeLitres": 1500 }, { "name": "restart", "volumeLitres": 4800 } ] },
            { "id": "roof", "role": "overhead", "capacityLitres": 6000, "probes": [ { "name": "low", "volumeLitres": 1500 }, { "name": "high", "volumeLitres": 5800 } ] } ],
          "pumps": [ { "id": "p1", "from": "sump", "to": ["roof"] } ],
          "units": [
            { "id": "u1", "reports": [ "roof", "p1" ], "sparkplug": { "group": "works", "node": "cellar",
              "metrics": { "Tank/Low": "roof/low", "Tank/High": "roof/high", "Pump/On": "p1/running", "Pump/Why": "p1/cause", "Pump/Power": "p1/watts", "Mains": "mains", "Radio": "signal" } } },
            { "id": "u2", "reports": [ "sump" ], "sparkplug": { "group": "works", "node": "cellar", "device": "sump", "metrics": { "Probes": "sump/wet-mask" } } } ]
        }
        """);

    public Edge()
    {
        var units = Plan.Units.Select(unit => new MappedUnit(Plan, unit));
        var step = EdgeNode.Start(Id, [.. units], Scenario.TimeOf("05:00"));
        Assert.True(step.AskRebirth);
        Node = step.Next;
    }

    public EdgeNode Node { get; private set; }

    /// <summary>Rebirths asked for since the start.</summary>
    public int Asked { get; private set; }

    public static byte[][] Metrics(bool low = true, bool high = false, bool on = false, string why = "level") =>
    [
        Metric("Tank/Low", low, OfBoolean, 1), Metric("Tank/High", high, OfBoolean, 2), Metric("Pump/On", on, OfBoolean, 3), Metric("Pump/Why", why, OfText, 4),
        Metric("Pump/Power", 0f, OfFloat, 5), Metric("Mains", true, OfBoolean, 6), Metric("Radio", -71, OfInt32, 7), Metric("Unmapped", 7, OfInt32, 8),
    ];

    public Decoded[] Birth(int seq = 0, long bdSeq = 8, string at = "05:01") =>
        Take(SparkplugType.NBIRTH, "", Payload(seq, Scenario.TimeOf(at), [Metric("bdSeq", bdSeq, OfInt64), .. Metrics()]), at);

    public Decoded[] Data(int seq, string at, params byte[][] metrics) => Take(SparkplugType.NDATA, "", Payload(seq, Scenario.TimeOf(at), metrics), at);

    public Decoded[] Death(long bdSeq, string at) => Take(SparkplugType.NDEATH, "", Payload(null, null, Metric("bdSeq", bdSeq, OfInt64)), at);

    public Decoded[] Take(SparkplugType type, string device, byte[] payload, string at) => Keep(Node.Take(new(Id, type, device), payload, Scenario.TimeOf(at)));

    public Decoded[] Tick(string at) => Keep(Node.Tick(Scenario.TimeOf(at)));

    public static Observation[] Seen(IEnumerable<Decoded> said) => [.. said.Select(d => Assert.IsType<Decoded.Accepted>(d).Seen)];

    public static RefusalReason[] Refused(IEnumerable<Decoded> said) => [.. said.OfType<Decoded.Refused>().Select(refused => refused.Reason)];

    /// <summary>What levels, in the order in which they were said: time and probes, the lowest first.</summary>
    public static string[] Levels(IEnumerable<Decoded> said) => [.. said.OfType<Decoded.Accepted>().Select(a => a.Seen).OfType<LevelObservation>()
        .Select(level => $"{level.Stamp.At:HH:mm} {level.Wet & 1}{level.Wet >> 1}")];

    private Decoded[] Keep(EdgeStep step)
    {
        Node = step.Next;
        Asked += step.AskRebirth ? 1 : 0;
        return [.. step.Said.Select(word => word.Decoded)];
    }
}
