using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Senml;
using TankWatch.Core.Sites;
using TankWatch.Core.Sparkplug;
using Xunit;
using YamlDotNet.Core;
using YamlDotNet.RepresentationModel;
using JsonNode = System.Text.Json.Nodes.JsonNode;

namespace TankWatch.Core.Tests.FieldMessages;

/// <summary>The AsyncAPI document and the schemas it refers to say what the decoder does.</summary>
public sealed class AsyncApiTests
{
    private static readonly JsonNode Document = Read("asyncapi.yaml");
    private static readonly JsonNode Schema = JsonNode.Parse(File.ReadAllText(PathOf("message.schema.json")))!;
    private static readonly SitePlan Plan = Plans.Of(
        """
        { "id": "alder-row", "name": "Alder Row", "timeZone": "Europe/Lisbon",
          "tanks": [ { "id": "roof", "role": "overhead", "capacityLitres": 6000, "probes": [
            { "name": "low", "volumeLitres": 1500 }, { "name": "mid", "volumeLitres": 3900 }, { "name": "high", "volumeLitres": 5800 } ] } ],
          "pumps": [ { "id": "p1", "from": null, "to": [ "roof" ] } ],
          "units": [ { "id": "fu-1", "reports": [ "roof", "p1" ] } ] }
        """);

    public static TheoryData<MessageKind> Kinds => [.. Enum.GetValues<MessageKind>()];

    [Fact]
    public void There_is_a_channel_and_an_operation_for_each_kind_and_each_other_way_in_and_no_other()
    {
        var names = Enum.GetValues<MessageKind>().Select(FieldMessageDecoder.NameOf).Order(StringComparer.Ordinal).ToList();
        List<string> channels = [.. names.Concat(["senml", "edgeNode", "edgeDevice", "hostState", "rebirth"]).Order(StringComparer.Ordinal)];
        Assert.Equal(channels, Names(Document["channels"]!));
        Assert.Equal(names.Concat(["senml", "sparkplug", "hostState", "rebirth"]).Order(StringComparer.Ordinal), Names(Document["components"]!["messages"]!));
        Assert.All(names, name => Assert.Equal($"{FieldMessageDecoder.TopicPrefix}{{unit}}/{name}", (string?)Document["channels"]![name]!["address"]));
        Assert.All(names, name => Assert.Equal($"./schemas/message.schema.json#/$defs/{name}", (string?)Document["components"]!["messages"]![name]!["payload"]!["$ref"]));
        Assert.Equal(channels, Document["operations"]!.AsObject().Select(o => ((string)o.Value!["channel"]!["$ref"]!).Split('/')[^1]).Order(StringComparer.Ordinal));
        Assert.Contains($"at most {FieldMessageDecoder.MaxPayloadBytes} bytes", (string)Document["info"]!["description"]!, StringComparison.Ordinal);
    }

    [Theory]
    [MemberData(nameof(Kinds))]
    public void Every_example_is_taken_and_every_counterexample_refused_for_its_reason(MessageKind kind)
    {
        var message = Document["components"]!["messages"]![FieldMessageDecoder.NameOf(kind)]!;
        Assert.NotEmpty(message["examples"]!.AsArray());
        Assert.All(message["examples"]!.AsArray(), example => Assert.Equal("", ReasonOf(kind, example!["payload"]!)));
        Assert.NotEmpty(message["x-refused"]!.AsArray());
        Assert.All(message["x-refused"]!.AsArray(), refused => Assert.Equal((string?)refused!["reason"], ReasonOf(kind, refused["payload"]!)));
    }

    [Theory]
    [MemberData(nameof(Kinds))]
    public void What_the_schema_demands_is_demanded_and_nothing_else(MessageKind kind)
    {
        var whole = Example(kind);
        var required = SchemaOf(kind)["required"]!.AsArray().Select(name => (string)name!).ToList();
        foreach (var member in whole.Select(member => member.Key))
        {
            var without = whole.DeepClone().AsObject();
            without.Remove(member);
            Assert.Equal(required.Contains(member) ? "missing-member" : "", ReasonOf(kind, without));
        }

        Assert.All(required, member => Assert.True(whole.ContainsKey(member), member));
    }

    [Theory]
    [MemberData(nameof(Kinds))]
    public void Every_limit_and_every_name_of_the_schema_is_the_decoders(MessageKind kind)
    {
        var members = SchemaOf(kind)["properties"]!.AsObject().Concat(Schema["$defs"]!["common"]!["properties"]!.AsObject());
        foreach (var (name, says) in members)
        {
            if (says!["minimum"] is { } least && says["maximum"] is { } most)
            {
                Assert.Equal(["", "", "out-of-range", "out-of-range"], new[] { (decimal)least, (decimal)most, (decimal)least - 1, (decimal)most + 1 }.Select(With));
            }

            if (says["enum"] is { } names)
            {
                Assert.All(names.AsArray(), one => Assert.Equal("", ReasonOf(kind, Changed(kind, name, one!.DeepClone()))));
                Assert.Equal("out-of-range", ReasonOf(kind, Changed(kind, name, "no-such-name")));
            }

            string With(decimal value) => ReasonOf(kind, Changed(kind, name, value));
        }
    }

    [Fact]
    public void Every_pack_is_taken_and_every_counterexample_refused_for_its_reason()
    {
        Assert.True(SenmlDecoder.TryReadTopic(AddressOf("senml").Replace("{unit}", "fu-1", StringComparison.Ordinal), out var unit));
        Assert.Equal(Plan.Units[0].Id, unit);
        var pack = Document["components"]!["messages"]!["senml"]!;
        Assert.All(pack["examples"]!.AsArray(), example => Assert.Equal("", PackReasonOf(Encoding.UTF8.GetBytes(example!["payload"]!.ToJsonString()))));
        Assert.All(pack["x-cbor"]!.AsArray(), bytes => Assert.Equal("", PackReasonOf(Convert.FromHexString((string)bytes!))));
        Assert.All(pack["x-refused"]!.AsArray(), refused => Assert.Equal((string?)refused!["reason"], PackReasonOf(Encoding.UTF8.GetBytes(refused["payload"]!.ToJsonString()))));
        Assert.Equal((decimal)SenmlPack.MaxRecords, (decimal)pack["payload"]!["maxItems"]!);
        Assert.Contains($"{FieldMessageDecoder.MaxPayloadBytes} bytes and {SenmlPack.MaxRecords} records", (string)pack["description"]!, StringComparison.Ordinal);
    }

    [Fact]
    public void The_channels_of_Sparkplug_are_those_of_the_code_and_its_payloads_are_read()
    {
        var types = Enum.GetNames<SparkplugType>().Order(StringComparer.Ordinal);
        Assert.Equal(types, new[] { "edgeNode", "edgeDevice" }.SelectMany(TypesOf).Order(StringComparer.Ordinal));
        Assert.All(TypesOf("edgeNode"), type => Assert.Equal(new(new("g", "n"), Enum.Parse<SparkplugType>(type), ""), SparkplugTopic.Find(Filled("edgeNode", type))));
        Assert.All(TypesOf("edgeDevice"), type => Assert.Equal(new(new("g", "n"), Enum.Parse<SparkplugType>(type), "d"), SparkplugTopic.Find(Filled("edgeDevice", type))));
        Assert.Equal(HostState.TopicOf("{host}"), AddressOf("hostState"));
        Assert.Equal(HostState.Rebirth(new("{group}", "{node}"), default).Topic, AddressOf("rebirth"));

        var messages = Document["components"]!["messages"]!;
        Assert.All(messages["sparkplug"]!["x-examples"]!.AsArray(), hex => Assert.NotNull(SparkplugPayload.Find(Convert.FromHexString((string)hex!))));
        Assert.All(messages["sparkplug"]!["x-refused"]!.AsArray(), hex => Assert.Null(SparkplugPayload.Find(Convert.FromHexString((string)hex!))));
        Assert.Contains($"{FieldMessageDecoder.MaxPayloadBytes} bytes and {SparkplugPayload.MaxMetrics} metrics", (string)messages["sparkplug"]!["description"]!, StringComparison.Ordinal);
        Assert.All(messages["hostState"]!["examples"]!.AsArray(), example => Assert.Equal(
            example!["payload"]!.ToJsonString(),
            Encoding.UTF8.GetString(HostState.PayloadOf((bool)example["payload"]!["online"]!, DateTimeOffset.FromUnixTimeMilliseconds((long)(decimal)example["payload"]!["timestamp"]!)))));

        string Filled(string channel, string type) => AddressOf(channel).Replace("{group}", "g", StringComparison.Ordinal).Replace("{type}", type, StringComparison.Ordinal)
            .Replace("{node}", "n", StringComparison.Ordinal).Replace("{device}", "d", StringComparison.Ordinal);
    }

    [Fact]
    public void The_causes_are_those_of_the_code() => Assert.Equal(
        PumpCauses.Names.Order(StringComparer.Ordinal),
        SchemaOf(MessageKind.Pump)["properties"]!["cause"]!["enum"]!.AsArray().Select(name => (string)name!).Order(StringComparer.Ordinal));

    private static string AddressOf(string channel) => (string)Document["channels"]![channel]!["address"]!;

    private static IEnumerable<string> TypesOf(string channel) => Document["channels"]![channel]!["parameters"]!["type"]!["enum"]!.AsArray().Select(name => (string)name!);

    /// <returns>Empty when something was taken and nothing refused.</returns>
    private static string PackReasonOf(byte[] pack)
    {
        var decoded = SenmlDecoder.Decode(Plan, Plan.Units[0], pack, new(2026, 3, 2, 6, 0, 0, TimeSpan.Zero));
        Assert.NotEmpty(decoded);
        return decoded.OfType<Decoded.Refused>().FirstOrDefault() is { } refused ? RefusalNames.Of(refused.Reason) : "";
    }

    private static JsonNode SchemaOf(MessageKind kind) => Schema["$defs"]![FieldMessageDecoder.NameOf(kind) + "Object"]!;

    /// <summary>The first example, which has all that a message of its kind can have.</summary>
    private static JsonObject Example(MessageKind kind) =>
        Document["components"]!["messages"]![FieldMessageDecoder.NameOf(kind)]!["examples"]![0]!["payload"]!.AsObject();

    private static JsonObject Changed(MessageKind kind, string member, JsonNode value)
    {
        var changed = Example(kind).DeepClone().AsObject();
        changed[member] = value;
        return changed;
    }

    /// <returns>Empty when it was taken.</returns>
    private static string ReasonOf(MessageKind kind, JsonNode payload) => FieldMessageDecoder.Decode(
        Plan, Plan.Units[0], kind, Encoding.UTF8.GetBytes(payload.ToJsonString()), new(2026, 3, 1, 6, 0, 0, TimeSpan.Zero))[0] switch
    {
        Decoded.Refused refused => RefusalNames.Of(refused.Reason),
        _ => "",
    };

    private static List<string> Names(JsonNode node) => [.. node.AsObject().Select(member => member.Key).Order(StringComparer.Ordinal)];

    private static string PathOf(string file) => Path.Combine(AppContext.BaseDirectory, "Schemas", file);

    private static JsonNode Read(string file)
    {
        var yaml = new YamlStream();
        using var text = File.OpenText(PathOf(file));
        yaml.Load(text);
        return Json(yaml.Documents[0].RootNode);
    }

    private static JsonNode Json(YamlNode node) => node switch
    {
        YamlMappingNode map => new JsonObject(map.Children.Select(child => KeyValuePair.Create(((YamlScalarNode)child.Key).Value!, (JsonNode?)Json(child.Value)))),
        YamlSequenceNode list => new JsonArray([.. list.Children.Select(child => (JsonNode?)Json(child))]),
        YamlScalarNode { Style: ScalarStyle.Plain, Value: "true" or "false" } flag => flag.Value == "true",
        YamlScalarNode { Style: ScalarStyle.Plain } plain when decimal.TryParse(plain.Value, NumberStyles.Float, CultureInfo.InvariantCulture, out var number) => number,
        YamlScalarNode text => text.Value!,
        _ => throw new InvalidOperationException($"{node.NodeType} at line {node.Start.Line}"),
    };
}
