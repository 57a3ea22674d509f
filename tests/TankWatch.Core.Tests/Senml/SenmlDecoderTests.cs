using System.Formats.Cbor;
using System.Text;
using CsCheck;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Senml;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Senml;

public sealed class SenmlDecoderTests
{
    private static readonly SitePlan Plan = Plans.House();
    private static readonly DateTimeOffset Received = Scenario.TimeOf("06:00");
    private static readonly long Base = Scenario.TimeOf("05:00").ToUnixTimeSeconds();

    private static Decoded[] Decode(ReadOnlyMemory<byte> payload) => [.. SenmlDecoder.Decode(Plan, Plan.Units[0], payload, Received)];
    private static Decoded[] Decode(string json) => Decode(Encoding.UTF8.GetBytes(json));
    private static Observation[] Seen(string json) => [.. Decode(json).Select(d => Assert.IsType<Decoded.Accepted>(d).Seen)];

    private static RefusalReason Refused(string json) => Assert.IsType<Decoded.Refused>(Assert.Single(Decode(json))).Reason;

    [Fact]
    public void A_tank_is_told_by_a_string_of_its_probes_by_a_number_or_by_each_probe()
    {
        var seen = Seen($$"""
            [{"bn":"urn:dev:ops:tankwatch-u1:","bt":{{Base}},"n":"roof/wet","vs":"110"},
             {"n":"sump/wet-mask","v":5},
             {"n":"roof/low","vb":true,"t":60},{"n":"roof/mid","vb":false,"t":60},{"n":"roof/3","vb":false,"t":60}]
            """).Cast<LevelObservation>().ToArray();
        Assert.Equal([(1, 0b011), (0, 0b101), (1, 0b001)], seen.Select(level => (level.Tank, level.Wet)));
        Assert.Equal(["05:00", "05:00", "05:01"], seen.Select(level => $"{level.Stamp.At:HH:mm}"));
    }

    [Fact]
    public void A_pump_its_inlet_the_mains_and_the_unit_are_told_by_their_names()
    {
        var seen = Seen("""
            [{"n":"p1/running","vb":true},{"n":"p1/cause","vs":"level"},{"n":"p1/mode","vs":"auto"},{"n":"p1/watts","v":612,"u":"W"},
             {"n":"p1/flowing","vb":true},{"n":"mains","vb":true},{"n":"volts","v":229.5,"u":"V"},
             {"n":"battery","u":"%EL","v":98},{"n":"signal","u":"dBm","v":-71},{"n":"firmware","vs":"1.2"}]
            """);
        Assert.Equal((true, PumpCause.Level, false, 612.0), Assert.IsType<PumpObservation>(seen[0]) is var pump ? (pump.Running, pump.Cause, pump.Manual!.Value, pump.Watts!.Value) : default);
        Assert.True(Assert.IsType<InletObservation>(seen[1]).Flowing);
        Assert.Equal((true, 229.5), Assert.IsType<SupplyObservation>(seen[2]) is var supply ? (supply.Mains, supply.Volts!.Value) : default);
        Assert.Equal((true, 98.0, -71.0, "1.2"), Assert.IsType<StatusObservation>(seen[3]) is var status ? (status.Online, status.BatteryPercent!.Value, status.SignalDbm!.Value, status.Firmware) : default);
    }

    [Fact]
    public void A_pump_that_does_not_say_why_is_taken_with_an_unknown_cause() =>
        Assert.Equal((false, PumpCause.Unknown), Assert.IsType<PumpObservation>(Assert.Single(Seen("""[{"n":"p1/running","vb":false}]"""))) is var pump ? (pump.Running, pump.Cause) : default);

    [Fact]
    public void A_pack_with_a_count_numbers_its_messages_one_after_the_other()
    {
        var results = Decode("""[{"n":"boot","v":3},{"n":"seq","v":9007199254740990},{"n":"roof/wet","vs":"110"},{"n":"mains","vb":true}]""").Cast<Decoded.Accepted>();
        Assert.Equal(["u1/3/9007199254740990", "u1/3/9007199254740991"], results.Select(r => r.Identity.ToString()));
    }

    [Fact]
    public void The_same_pack_twice_says_nothing_new()
    {
        var pack = $$"""[{"bt":{{Base}},"n":"roof/wet","vs":"110"},{"n":"mains","vb":true}]""";
        MessageIdentity[] Identities() => [.. Decode(pack).Cast<Decoded.Accepted>().Select(a => a.Identity)];
        Assert.Equal(Identities(), Identities());
    }

    [Fact]
    public void What_was_taken_reads_the_same_from_the_store()
    {
        foreach (var accepted in Decode("""[{"t":-90,"n":"roof/wet","vs":"110"},{"n":"p1/running","vb":true},{"n":"battery","v":50}]""").Cast<Decoded.Accepted>())
        {
            Assert.Equal(accepted.Seen, Assert.IsType<Decoded.Accepted>(Assert.Single(FieldMessageDecoder.Decode(Plan, Plan.Units[0], accepted.Kind, accepted.Json, Received))).Seen);
        }
    }

    [Theory]
    [InlineData("""[{"n":"attic/wet","vs":"110"}]""", RefusalReason.UnknownDevice)]
    [InlineData("""[{"n":"p1/wet","vs":"110"}]""", RefusalReason.UnknownDevice)]
    [InlineData("""[{"n":"roof/wet","vs":"1100"}]""", RefusalReason.WrongProbeCount)]
    [InlineData("""[{"n":"roof/wet","vs":"yes"}]""", RefusalReason.WrongType)]
    [InlineData("""[{"n":"roof/wet","v":110}]""", RefusalReason.WrongType)]
    [InlineData("""[{"n":"roof/wet-mask","v":8}]""", RefusalReason.WrongType)]
    [InlineData("""[{"n":"roof/wet-mask","v":1.5}]""", RefusalReason.WrongType)]
    [InlineData("""[{"n":"roof/low","vb":true}]""", RefusalReason.WrongProbeCount)]
    [InlineData("""[{"n":"roof/wet","vd":"AQ"}]""", RefusalReason.MissingMember)]
    [InlineData("""[{"n":"p1/volts","v":230}]""", RefusalReason.MissingMember)] // It does not say whether the pump runs.
    [InlineData("""[{"n":"p1/running","v":1}]""", RefusalReason.WrongType)]
    [InlineData("""[{"n":"p1/running","vb":true},{"n":"p1/cause","vs":"mood"}]""", RefusalReason.OutOfRange)]
    [InlineData("""[{"n":"mains","vb":true},{"n":"volts","v":-1}]""", RefusalReason.OutOfRange)]
    [InlineData("""[{"n":"battery","v":101}]""", RefusalReason.OutOfRange)]
    [InlineData("""[{"n":"signal","u":"dBW","v":-100}]""", RefusalReason.OutOfRange)]
    [InlineData("""[{"n":"seq","v":1.5},{"n":"mains","vb":true}]""", RefusalReason.OutOfRange)]
    [InlineData("""{"n":"mains","vb":true}""", RefusalReason.MalformedJson)]
    [InlineData("[", RefusalReason.MalformedJson)]
    [InlineData("", RefusalReason.MalformedJson)]
    [InlineData("""[{"n":"\ud800","vb":true}]""", RefusalReason.MalformedJson)]
    [InlineData("""[{"bver":11,"n":"mains","vb":true}]""", RefusalReason.NotUnderstood)]
    public void The_checks_of_field_messages_hold(string json, RefusalReason reason) => Assert.Equal(reason, Refused(json));

    [Fact]
    public void Names_that_mean_nothing_here_are_ignored() => Assert.Empty(Decode("""[{"n":"temperature","v":21},{"n":"roof/colour","vs":"blue"},{"n":"attic/low","vb":true}]"""));

    [Fact]
    public void A_record_that_is_refused_is_kept_as_a_pack_of_its_own()
    {
        var results = Decode("""[{"bn":"urn:x:","bt":1700000000,"n":"mains","vb":true},{"n":"battery","u":"EL","v":50,"t":-1}]""");
        Assert.Equal(2, results.Length);
        Assert.IsType<Decoded.Accepted>(results[1]);
        Assert.Equal("""[{"bn":"urn:x:","bt":1700000000,"n":"battery","u":"EL","v":50,"t":-1}]""", Encoding.UTF8.GetString(Assert.IsType<Decoded.Refused>(results[0]).Json.Span));
    }

    private static byte[] Cbor(Action<CborWriter> write)
    {
        var writer = new CborWriter(CborConformanceMode.Lax, allowMultipleRootLevelValues: true);
        write(writer);
        return writer.Encode();
    }

    [Fact]
    public void A_pack_in_CBOR_may_have_decimal_fractions_text_labels_and_an_indefinite_length()
    {
        var payload = Cbor(writer =>
        {
            writer.WriteStartArray(null);
            writer.WriteStartMap(4);
            writer.WriteInt32(0);
            writer.WriteTextString("battery");
            writer.WriteInt32(2);
            writer.WriteDecimal(98.5m);
            writer.WriteTextString("extra");
            writer.WriteStartArray(1);
            writer.WriteTag(CborTag.Base64);
            writer.WriteNull();
            writer.WriteEndArray();
            writer.WriteInt32(6);
            writer.WriteInt32(-60);
            writer.WriteEndMap();
            writer.WriteEndArray();
        });
        var status = Assert.IsType<StatusObservation>(Assert.IsType<Decoded.Accepted>(Assert.Single(Decode(payload))).Seen);
        Assert.Equal((98.5, Scenario.TimeOf("05:59")), (status.BatteryPercent!.Value, status.Stamp.At));
    }

    [Theory]
    [InlineData("80", null)] // An empty pack says nothing.
    [InlineData("81", RefusalReason.MalformedPayload)]
    [InlineData("8180", RefusalReason.WrongType)]
    [InlineData("8000", RefusalReason.MalformedPayload)] // Something behind it.
    [InlineData("9bffffffffffffffff", RefusalReason.MalformedPayload)]
    [InlineData("81a1f600", RefusalReason.MalformedPayload)] // A label that is null.
    [InlineData("81a200c241020201", RefusalReason.WrongType)] // A name that is a big number.
    [InlineData("81a20061612000", RefusalReason.NotUnderstood)] // bver 0.
    [InlineData("81a2006d6d61696e7302f97e00", RefusalReason.MalformedPayload)] // Cut short.
    [InlineData("81a200656d61696e7302f97e00", RefusalReason.OutOfRange)] // NaN.
    public void Odd_CBOR_is_refused(string hex, RefusalReason? reason) =>
        Assert.Equal(reason, (Decode(Convert.FromHexString(hex)).SingleOrDefault() as Decoded.Refused)?.Reason);

    [Fact]
    public void Size_count_and_depth_are_bounded()
    {
        Assert.Equal(RefusalReason.TooLarge, Refused($"[{new string(' ', 256 * 1024)}]"));
        Assert.Equal(RefusalReason.TooLarge, Refused($"[{string.Join(",", Enumerable.Repeat("{}", 10_001))}]"));
        Assert.Empty(Decode($"[{string.Join(",", Enumerable.Repeat("{}", 10_000))}]"));
        Assert.Equal(RefusalReason.MalformedJson, Refused($$"""[{"x":{{new string('[', 10_000)}}]"""));
        Assert.Equal(RefusalReason.MalformedPayload, Assert.IsType<Decoded.Refused>(Assert.Single(Decode((byte[])[0x81, 0xA1, 0x00, .. Enumerable.Repeat((byte)0x81, 200_000)]))).Reason);
        Assert.Equal(RefusalReason.OutOfRange, Refused($$"""[{"bn":"{{new string('a', 256)}}"}]"""));
    }

    [Theory]
    [InlineData("tankwatch/v1/fu-1/senml", "fu-1")]
    [InlineData("tankwatch/v1/fu-1/level", null)]
    [InlineData("tankwatch/v1/senml", null)]
    [InlineData("tankwatch/v1//senml", null)]
    [InlineData("tankwatch/v1/a/b/senml", null)]
    public void Topics_are_read_strictly(string topic, string? unit)
    {
        Assert.Equal(unit is not null, SenmlDecoder.TryReadTopic(topic, out var id));
        Assert.Equal(unit, id.Value);
    }

    [Fact]
    public void No_bytes_make_it_throw()
    {
        var good = Convert.FromHexString("82a30067726f6f662f776574036331313006013ba200656d61696e7304f5");
        Gen.Select(Gen.Byte.Array[0, 60], Gen.Int[0, good.Length]).Sample((bytes, keep) =>
        {
            Decode(bytes);
            Decode((byte[])[.. good[..keep], .. bytes]);
            Decode((byte[])[.. "[{\"n\":\"mains\",\"vb\":true,"u8, .. bytes]);
        }, iter: 5000, threads: 1);
    }
}

/// <summary>What the documentation shows is what happens.</summary>
public sealed class SenmlExampleTests
{
    [Fact]
    public void The_pack_of_the_documentation_says_what_its_field_messages_say()
    {
        var blocks = File.ReadAllText(Path.Combine(AppContext.BaseDirectory, "Docs", "senml.md")).Split("```json\n").Skip(1).Select(b => b[..b.IndexOf("```", StringComparison.Ordinal)]).ToArray();
        var house = Plans.House();
        var plan = house with { Units = [house.Units[0] with { Id = new("fu-0017") }] };
        var received = Scenario.TimeOf("06:00");
        var told = SenmlDecoder.Decode(plan, plan.Units[0], Encoding.UTF8.GetBytes(blocks[0]), received).Select(d => Assert.IsType<Decoded.Accepted>(d).Seen);
        var recording = new TankWatch.Core.Replaying.Recording(plan);
        foreach (var line in blocks[1].Trim().Split('\n'))
        {
            recording.Add(line.Replace("{ \"topic\"", $"{{ \"received\": \"{TankWatch.Core.Time.Rfc3339.Format(received)}\", \"topic\"", StringComparison.Ordinal));
        }

        Assert.Empty(recording.Refused);
        Assert.Equal(recording.Observations, told);

        var packed = new TankWatch.Core.Replaying.Recording(plan);
        packed.Add($$"""{"received":"{{TankWatch.Core.Time.Rfc3339.Format(received)}}","topic":"tankwatch/v1/fu-0017/senml","payload":{{blocks[0].ReplaceLineEndings(" ")}}}""");
        Assert.Equal(recording.Observations, packed.Observations);
    }
}
