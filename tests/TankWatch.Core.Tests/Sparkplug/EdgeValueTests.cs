using CsCheck;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sparkplug;
using Xunit;
using static TankWatch.Core.Tests.Sparkplug.SparkplugBytes;

namespace TankWatch.Core.Tests.Sparkplug;

/// <summary>What metrics say, and what hostile ones do not do.</summary>
public sealed class EdgeValueTests
{
    private static Edge BornEdge()
    {
        var edge = new Edge();
        edge.Birth();
        return edge;
    }

    [Fact]
    public void Each_metric_has_its_own_time()
    {
        var said = BornEdge().Data(1, "05:10", Metric(null, true, alias: 2, at: Scenario.TimeOf("05:08")), Metric(null, false, alias: 1, at: Scenario.TimeOf("05:07")));
        Assert.Equal(["05:07 00", "05:08 01"], Edge.Levels(said));
    }

    [Fact] // is_historical [M]: a backlog is told in the state of its own time, and changes nothing of now.
    public void A_backlog_fills_the_past_and_leaves_the_present()
    {
        var edge = BornEdge(); // At 05:01 low is wet, high dry.
        edge.Data(1, "05:10", Metric(null, true, alias: 2));
        edge.Data(2, "05:20", Metric(null, false, alias: 1));
        Assert.Equal(["05:05 00", "05:06 10", "05:12 11"], Edge.Levels(edge.Data(
            3, "05:30", Metric(null, false, alias: 1, at: Scenario.TimeOf("05:05"), historical: true), Metric(null, true, alias: 1, at: Scenario.TimeOf("05:06"), historical: true),
            Metric(null, true, alias: 2, at: Scenario.TimeOf("05:12"), historical: true))));
        Assert.Equal(["05:31 01"], Edge.Levels(edge.Data(4, "05:31", Metric(null, true, alias: 2))));
        Assert.Empty(edge.Data(5, "05:32", Metric(null, true, alias: 2, at: Scenario.TimeOf("04:00"), historical: true))); // Of low, nothing is known then.
    }

    [Fact]
    public void The_same_data_twice_are_the_same_messages()
    {
        static MessageIdentity[] Told(Edge edge) =>
            [.. edge.Data(1, "05:02", Metric(null, true, alias: 2), Metric(null, true, alias: 3)).Cast<Decoded.Accepted>().Select(accepted => accepted.Identity)];
        Assert.Equal(Told(BornEdge()), Told(BornEdge()));
    }

    [Fact] // is_null [M]
    public void A_metric_without_a_value_makes_its_device_unknown_and_not_empty()
    {
        var edge = BornEdge();
        Assert.Empty(edge.Data(1, "05:02", Metric(null, null, alias: 1)));
        Assert.Empty(edge.Data(2, "05:03", Metric(null, true, alias: 2)));
        Assert.Equal(["05:04 11"], Edge.Levels(edge.Data(3, "05:04", Metric(null, true, alias: 1))));
    }

    [Theory] // Datatypes [M]: the wire has no negative numbers.
    [InlineData(1u, 0xB9, -71)]
    [InlineData(2u, 0xFFB9, -71)]
    [InlineData(3u, -71, -71)]
    [InlineData(5u, 7, 7)]
    public void Whole_numbers_are_read_by_their_type(uint type, int bits, double expected)
    {
        var edge = new Edge();
        edge.Take(SparkplugType.NBIRTH, "", Payload(0, null, Metric("Radio", bits, type, 1)), "05:01");
        var status = Assert.IsType<StatusObservation>(Assert.Single(Edge.Seen(edge.Data(1, "05:02", Metric(null, bits, alias: 1)))));
        Assert.Equal(expected, status.SignalDbm);
    }

    [Fact]
    public void Long_ones_too() =>
        Assert.Equal(-71, Edge.Seen(BornEdge().Data(1, "05:02", Metric("Radio", -71L, OfInt64))).OfType<StatusObservation>().Single().SignalDbm);

    [Fact]
    public void What_is_wrong_is_refused_with_its_reason_and_the_rest_is_taken()
    {
        var edge = BornEdge();
        Assert.Equal([RefusalReason.WrongType], Edge.Refused(edge.Data(1, "05:02", Metric(null, double.NaN, alias: 5))));
        Assert.Equal([RefusalReason.OutOfRange], Edge.Refused(edge.Data(2, "05:02", Metric(null, -1.0, alias: 5))));
        Assert.Equal([RefusalReason.WrongType], Edge.Refused(edge.Data(3, "05:02", Metric(null, "yes", alias: 1))));
        Assert.Equal([RefusalReason.OutOfRange], Edge.Refused(edge.Take(SparkplugType.NDATA, "", Payload(256, null), "05:02")));
        Assert.Equal([RefusalReason.OutOfRange], Edge.Refused(edge.Take(SparkplugType.NDATA, "", Payload(null, null), "05:02")));
        Assert.Equal([RefusalReason.MalformedPayload], Edge.Refused(edge.Take(SparkplugType.NDATA, "", [0x12, 0x7F, 0x00], "05:02")));
        Assert.Equal([RefusalReason.TooLarge], Edge.Refused(edge.Take(SparkplugType.NDATA, "", new byte[(256 * 1024) + 1], "05:02")));
        Assert.Equal([RefusalReason.MalformedPayload], Edge.Refused(edge.Take(SparkplugType.NDATA, "", Payload(4, null, [.. Enumerable.Repeat<byte[]>([], 10_001)]), "05:02")));
    }

    [Fact]
    public void A_birth_that_lacks_what_the_site_file_names_says_so()
    {
        var said = new Edge().Take(SparkplugType.NBIRTH, "", Payload(0, null, Edge.Metrics()[1..]), "05:01");
        Assert.Equal("the birth has no metric 'Tank/Low', which the site file names", Assert.Single(said.OfType<Decoded.Refused>()).Detail);
        Assert.Empty(Edge.Levels(said)); // A probe of which nothing is known is not a dry one.
    }

    [Fact]
    public void A_clock_that_was_ahead_and_is_put_right_by_a_birth_does_no_harm()
    {
        var edge = new Edge();
        edge.Take(SparkplugType.NBIRTH, "", Payload(0, Scenario.TimeOf("05:00").AddYears(9), Edge.Metrics()), "05:00");
        for (var seq = 1; seq <= 20; seq++)
        {
            edge.Take(SparkplugType.NDATA, "", Payload(seq, Scenario.TimeOf("05:00").AddYears(9), Metric(null, true, alias: 2)), "05:00");
        }

        edge.Birth();
        Assert.Equal(["05:02 00"], Edge.Levels(edge.Data(1, "05:03", Metric(null, false, alias: 1, at: Scenario.TimeOf("05:02"), historical: true))));
    }

    [Theory]
    [InlineData(0UL)]
    [InlineData(ulong.MaxValue)]
    public void No_time_refuses_a_message(ulong milliseconds)
    {
        // 1970 is no time that is believed, and the last is no time at all (INTERFACE 1).
        var metric = SparkplugBytes.Metric("Tank/Low", false);
        var timed = (byte[])[.. metric, 0x18, .. milliseconds == 0 ? (byte[])[0] : [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x01]];
        Assert.Equal(Scenario.TimeOf("05:02"), Assert.Single(Edge.Seen(BornEdge().Data(1, "05:02", timed))).Stamp.At);
    }

    [Fact]
    public void No_bytes_make_it_throw()
    {
        var good = Payload(1, Scenario.TimeOf("05:02"), Edge.Metrics());
        Gen.Select(Gen.Byte.Array[0, 40], Gen.Int[0, good.Length], Gen.Enum<SparkplugType>(), Gen.Bool).Array[1, 4].Sample(
            messages =>
            {
                var edge = BornEdge();
                foreach (var (bytes, keep, type, ofSump) in messages)
                {
                    edge.Take(type, ofSump ? "sump" : "", [.. good[..keep], .. bytes], "05:02");
                    edge.Take(type, ofSump ? "sump" : "", bytes, "05:02");
                }

                edge.Tick("06:00");
            }, iter: 3000, threads: 1);
    }

    [Theory]
    [InlineData("spBv1.0/works/NDATA/cellar", "NDATA", "")]
    [InlineData("spBv1.0/works/DBIRTH/cellar/sump", "DBIRTH", "sump")]
    [InlineData("spBv1.0/works/NDATA/cellar/sump", null, "")]
    [InlineData("spBv1.0/works/DDATA/cellar", null, "")]
    [InlineData("spBv1.0/works/DDATA/cellar/", null, "")]
    [InlineData("spBv1.0/works/DDATA/cellar/a/b", null, "")]
    [InlineData("spBv1.0/works/NCMD/cellar", null, "")]
    [InlineData("spBv1.0/STATE/host", null, "")]
    [InlineData("spBv1.0//NDATA/cellar", null, "")]
    [InlineData("spAv1.0/works/NDATA/cellar", null, "")]
    public void Topics_are_read_strictly(string topic, string? type, string device)
    {
        var found = SparkplugTopic.Find(topic);
        Assert.Equal((type, type is null ? null : device), (found?.Type.ToString(), found?.Device));
    }

    [Fact] // Bytes [D] from the field numbers of sparkplug_b.proto [M].
    public void A_rebirth_is_asked_for_by_a_command_with_its_metric()
    {
        var (topic, payload) = HostState.Rebirth(Edge.Id, DateTimeOffset.FromUnixTimeMilliseconds(1));
        Assert.Equal("spBv1.0/works/NCMD/cellar", topic);
        Assert.Equal("0801" + "121A" + "0A14" + Convert.ToHexString("Node Control/Rebirth"u8) + "200B" + "7001", Convert.ToHexString(payload));
    }

    [Fact] // [host-topic-phid-birth-payload] [M]
    public void The_host_says_in_json_that_it_is_there() =>
        Assert.Equal(("spBv1.0/STATE/tankwatch", """{"online":true,"timestamp":1}"""), (HostState.TopicOf("tankwatch"), System.Text.Encoding.UTF8.GetString(HostState.PayloadOf(true, DateTimeOffset.FromUnixTimeMilliseconds(1)))));
}
