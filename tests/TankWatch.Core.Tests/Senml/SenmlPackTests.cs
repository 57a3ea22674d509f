using System.Text;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Senml;
using TankWatch.Core.Time;
using Xunit;

namespace TankWatch.Core.Tests.Senml;

/// <summary>The pack itself, whatever its names mean here. Values of RFC 8428 are retyped from CHECKS I1 [V: core-wg/senml-spec, ex3 and ex5].</summary>
public sealed class SenmlPackTests
{
    private static readonly DateTimeOffset Now = Scenario.TimeOf("06:00");

    // RFC 8428, 5.1.3 [V: core-wg/senml-spec, ex3.json].
    private const string Example3 = """
        [{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
         {"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},
         {"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]
        """;

    // RFC 8428, 6 [V: core-wg/senml-spec, ex3.gen.cbor.hex], 195 bytes.
    private const string Example3Cbor =
        "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f6c7461676501615602fb405e066666666666"
        + "a3006763757272656e74062402fb3ff3333333333333a3006763757272656e74062302fb3ff4cccccccccccda3006763757272656e74062202fb3ff6666666666666"
        + "a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff999999999999aa3006763757272656e74060002fb3ffb333333333333";

    private static readonly (string Name, double Value, string? Unit, string At)[] Resolved3 =
    [
        ("urn:dev:ow:10e2073a0108006:voltage", 120.1, "V", "2010-06-08T18:01:16.001Z"),
        ("urn:dev:ow:10e2073a0108006:current", 1.2, "A", "2010-06-08T18:01:11.001Z"),
        ("urn:dev:ow:10e2073a0108006:current", 1.3, "A", "2010-06-08T18:01:12.001Z"),
        ("urn:dev:ow:10e2073a0108006:current", 1.4, "A", "2010-06-08T18:01:13.001Z"),
        ("urn:dev:ow:10e2073a0108006:current", 1.5, "A", "2010-06-08T18:01:14.001Z"),
        ("urn:dev:ow:10e2073a0108006:current", 1.6, "A", "2010-06-08T18:01:15.001Z"),
        ("urn:dev:ow:10e2073a0108006:current", 1.7, "A", "2010-06-08T18:01:16.001Z"),
    ];

    private static SenmlRecord[] Resolve(string json)
    {
        var (records, fault) = SenmlPack.Resolve(SenmlReader.ReadJson(Encoding.UTF8.GetBytes(json)));
        Assert.Null(fault);
        return [.. records];
    }

    private static (string, double, string?, string) Shown(SenmlRecord record) => (
        record.Name, Assert.IsType<ReadingValue.Number>(record.Value).Value, record.Unit, Rfc3339.Format(SenmlTime.Resolve(record.Time, Now)!.Value));

    [Fact]
    public void The_pack_of_RFC_8428_5_1_3_resolves_as_the_RFC_says() => Assert.Equal(Resolved3, Resolve(Example3).Select(Shown));

    [Fact]
    public void The_bytes_of_RFC_8428_6_are_the_same_pack_in_CBOR()
    {
        var bytes = Convert.FromHexString(Example3Cbor);
        Assert.Equal(195, bytes.Length);
        var (records, fault) = SenmlPack.Resolve(SenmlReader.ReadCbor(bytes));
        Assert.Null(fault);
        Assert.Equal(Resolved3, records.Select(Shown));
    }

    [Fact] // RFC 8428, 5.1.4: time and battery of its example [V], shortened to the records that CHECKS I1 states.
    public void A_record_may_be_later_than_the_base_time()
    {
        var records = Resolve("""[{"bn":"urn:dev:ow:10e2073a01080063","bt":1320067464,"bu":"%RH","v":20},{"u":"%EL","t":150,"v":98}]""");
        Assert.Equal(
            [("urn:dev:ow:10e2073a01080063", 20.0, "%RH", "2011-10-31T13:24:24.000Z"), ("urn:dev:ow:10e2073a01080063", 98.0, "%EL", "2011-10-31T13:26:54.000Z")],
            records.Select(Shown));
    }

    [Theory] // RFC 8428, 4.5.3 [V, CHECKS I1]: below 2^28 a time is relative to now; and no time refuses a message (INTERFACE 1).
    [InlineData(-5, "2026-03-02T05:59:55.000Z")]
    [InlineData(268435455, "2034-09-03T03:24:15.000Z")] // now + 2^28 - 1 [D]
    [InlineData(268435456, "1978-07-04T21:24:16.000Z")] // 1970 + 2^28 [D]
    [InlineData(0, null)]
    [InlineData(1e300, null)]
    [InlineData(-1e300, null)]
    [InlineData(double.NaN, null)]
    [InlineData(double.PositiveInfinity, null)]
    public void Times_count_from_now_or_from_1970(double seconds, string? expected) =>
        Assert.Equal(expected, SenmlTime.Resolve(seconds, Now) is { } at ? Rfc3339.Format(at) : null);

    [Fact]
    public void Base_values_and_sums_are_added_and_last_until_they_are_replaced()
    {
        var records = Resolve("""[{"bn":"a","bv":100,"bs":7,"v":1},{"n":"b","s":3},{"bn":"c","bv":0,"v":5},{"n":"d","vb":true}]""");
        Assert.Equal(["a", "ab", "c", "cd"], records.Select(r => r.Name));
        Assert.Equal([101.0, 100, 5], records.Take(3).Select(r => Assert.IsType<ReadingValue.Number>(r.Value).Value));
        Assert.Equal([7.0, 10, 7, 7], records.Select(r => r.Sum));
        Assert.True(Assert.IsType<ReadingValue.Flag>(records[3].Value).Value);
    }

    [Theory]
    [InlineData("""{"n":"a"}""", RefusalReason.MissingMember)]
    [InlineData("""{"v":1}""", RefusalReason.OutOfRange)] // No name at all.
    [InlineData("""{"n":"a","v":1,"vb":true}""", RefusalReason.OutOfRange)]
    [InlineData("""{"n":"a","v":"1"}""", RefusalReason.WrongType)]
    [InlineData("""{"n":"a","v":1e999}""", RefusalReason.OutOfRange)]
    [InlineData("""{"n":"a","vb":1}""", RefusalReason.WrongType)]
    [InlineData("""{"n":"a","vs":null}""", RefusalReason.WrongType)]
    [InlineData("""{"n":7,"v":1}""", RefusalReason.WrongType)]
    [InlineData("""{"n":"a","t":"now","v":1}""", RefusalReason.WrongType)]
    [InlineData("""{"n":"a b","v":1}""", RefusalReason.OutOfRange)] // RFC 8428, 4.5.1.
    [InlineData("""{"n":"-a","v":1}""", RefusalReason.OutOfRange)]
    [InlineData("7", RefusalReason.WrongType)]
    public void A_bad_record_is_refused_and_spoils_no_other(string bad, RefusalReason reason)
    {
        var records = Resolve($$"""[{"n":"one","v":1},{{bad}},{"n":"two","v":2}]""");
        Assert.Equal([null, reason, null], records.Select(r => r.Fault?.Reason));
    }

    [Theory]
    [InlineData("""{"bver":11,"n":"a","v":1}""", RefusalReason.NotUnderstood)]
    [InlineData("""{"bver":0,"n":"a","v":1}""", RefusalReason.NotUnderstood)]
    [InlineData("""{"bver":"10","n":"a","v":1}""", RefusalReason.WrongType)]
    [InlineData("""{"n":"a","v":1,"calibrated_":true}""", RefusalReason.NotUnderstood)] // RFC 8428, 4.4: must be understood.
    [InlineData("""{"bn":7,"n":"a","v":1}""", RefusalReason.WrongType)]
    [InlineData("""{"bt":"now","n":"a","v":1}""", RefusalReason.WrongType)]
    public void What_later_records_rest_on_refuses_the_pack(string bad, RefusalReason reason) =>
        Assert.Equal(reason, SenmlPack.Resolve(SenmlReader.ReadJson(Encoding.UTF8.GetBytes($$"""[{"n":"one","v":1},{{bad}}]"""))).Fault?.Reason);

    [Fact]
    public void A_field_that_nobody_must_understand_is_ignored() =>
        Assert.Null(Assert.Single(Resolve("""[{"bver":10,"n":"a","v":1,"calibrated":{"by":["x"]}}]""")).Fault);
}
