using System.Text;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Sites;

public sealed class SparkplugFileTests
{
    private static SiteFileResult Read(string sparkplug, string other = "") => SiteFile.Parse(Encoding.UTF8.GetBytes($$"""
        { "id": "s", "name": "S", "timeZone": "Etc/UTC",
          "tanks": [ { "id": "roof", "role": "overhead", "capacityLitres": 900, "probes": [ { "name": "low", "volumeLitres": 100 }, { "name": "at the top", "volumeLitres": 800 } ] },
            { "id": "sump", "role": "sump", "capacityLitres": 900, "probes": [] } ],
          "pumps": [ { "id": "p1", "to": [ "roof" ] }, { "id": "p2", "to": [ "roof" ] } ],
          "units": [ { "id": "u1", "reports": [ "roof", "p1" ], "sparkplug": {{sparkplug}} }, { "id": "u2", "reports": [ "p2" ]{{other}} } ] }
        """));

    [Fact]
    public void A_unit_may_be_an_edge_node_or_one_of_its_devices()
    {
        var result = Read(
            """{ "group": "works", "node": "cellar", "metrics": { "Tank/Low": "roof/low", "Tank/High": "roof/2", "On": "p1/running", "Mains": "mains" } }""",
            """, "sparkplug": { "group": "works", "node": "cellar", "device": "plc", "metrics": { "On": "p2/running" } }""");
        Assert.Empty(result.Faults);
        var (unit, device) = (result.Plan!.Units[0].Sparkplug!, result.Plan.Units[1].Sparkplug!);
        Assert.Equal(("works", "cellar", "", "plc"), (unit.Node.Group, unit.Node.Node, unit.Device, device.Device));
        Assert.Equal(new ReadingTarget(MessageKind.Level, "roof", "", 1), unit.Metrics["Tank/High"]);
        Assert.Null(Read("null").Plan!.Units[0].Sparkplug);
    }

    [Theory]
    [InlineData("""{}""", "group", "node", "metrics")]
    [InlineData("""[]""", "")]
    [InlineData("""{ "group": "a/b", "node": "#", "device": "+", "metrics": { "m": "mains" } }""", "group", "node", "device")]
    [InlineData("""{ "group": "STATE", "node": "n", "metrics": { "m": "mains" } }""", "group")]
    [InlineData("""{ "group": "g", "node": "n", "metrics": {} }""", "metrics")]
    [InlineData("""{ "group": "g", "node": "n", "metrics": [ "mains" ] }""", "metrics")]
    [InlineData("""{ "group": "g", "node": "n", "metrics": { "m": 7, "M": "colour", "n": "boot" } }""", "metrics.m", "metrics.M", "metrics.n")]
    [InlineData("""{ "group": "g", "node": "n", "metrics": { "m": "attic/wet", "n": "p2/running", "o": "sump/wet" } }""", "metrics.m", "metrics.n", "metrics.o")] // Not reported by the unit.
    [InlineData("""{ "group": "g", "node": "n", "metrics": { "m": "mains", "n": "mains" } }""", "metrics.n")]
    [InlineData("""{ "group": "g", "node": "n", "metrics": { "m": "mains", "m": "volts" } }""", "metrics.m")]
    [InlineData("""{ "group": "g", "node": "n", "metrics": { "m": "roof/low" } }""", "metrics")] // Where is the other probe?
    [InlineData("""{ "group": "g", "node": "n", "metrics": { "m": "p1/cause" } }""", "metrics")] // Does it run?
    [InlineData("""{ "group": "g", "node": "n", "metrics": { "m": "volts" } }""", "metrics")]
    public void A_faulty_mapping_is_refused_by_its_paths(string sparkplug, params string[] members) =>
        Assert.Equal(
            members.Select(member => $"$.units[0].sparkplug{(member == "" ? "" : $".{member}")}").Order(StringComparer.Ordinal),
            Read(sparkplug).Faults.Select(fault => fault.Path).Order(StringComparer.Ordinal));

    [Fact]
    public void Two_units_cannot_be_the_same_device() =>
        Assert.Equal("$.units[1].sparkplug", Assert.Single(Read(
            """{ "group": "g", "node": "n", "metrics": { "m": "mains" } }""", """, "sparkplug": { "group": "g", "node": "n", "metrics": { "m": "mains" } }""").Faults).Path);

    [Fact]
    public void A_member_that_nobody_knows_is_a_warning() =>
        Assert.Equal("$.units[0].sparkplug.colour", Assert.Single(Read("""{ "group": "g", "node": "n", "metrics": { "m": "mains" }, "colour": 1 }""").Warnings, w => w.Path.Contains("sparkplug", StringComparison.Ordinal)).Path);
}
