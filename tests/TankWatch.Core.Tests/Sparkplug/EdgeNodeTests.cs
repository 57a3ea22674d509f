using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sparkplug;
using Xunit;
using static TankWatch.Core.Tests.Sparkplug.SparkplugBytes;

namespace TankWatch.Core.Tests.Sparkplug;

/// <summary>Ids in brackets are those of the specification, Sparkplug 3.0.0, chapters 5 and 6 [V, CHECKS I3], or recalled [M].</summary>
public sealed class EdgeNodeTests
{
    [Fact]
    public void A_birth_says_all_that_the_unit_is_and_that_it_is_online()
    {
        var seen = Edge.Seen(new Edge().Birth());
        Assert.All(seen, observation => Assert.Equal((new UnitId("u1"), Scenario.TimeOf("05:01")), (observation.Stamp.Unit, observation.Stamp.At)));
        Assert.Equal((1, 0b01), Assert.Single(seen.OfType<LevelObservation>()) is var level ? (level.Tank, level.Wet) : default);
        Assert.Equal((false, PumpCause.Level, 0.0), Assert.Single(seen.OfType<PumpObservation>()) is var pump ? (pump.Running, pump.Cause, pump.Watts!.Value) : default);
        Assert.True(Assert.Single(seen.OfType<SupplyObservation>()).Mains);
        Assert.Equal((true, -71.0), Assert.Single(seen.OfType<StatusObservation>()) is var status ? (status.Online, status.SignalDbm!.Value) : default);
    }

    [Fact]
    public void Data_by_alias_or_by_name_change_what_they_name_and_keep_the_rest()
    {
        var edge = new Edge();
        edge.Birth();
        Assert.Equal(["05:02 11"], Edge.Levels(edge.Data(1, "05:02", Metric(null, true, alias: 2))));
        Assert.Equal(["05:03 01"], Edge.Levels(edge.Data(2, "05:03", Metric("Tank/Low", false))));
        var pump = Assert.IsType<PumpObservation>(Assert.Single(Edge.Seen(edge.Data(3, "05:04", Metric(null, true, alias: 3), Metric(null, 612.5f, alias: 5)))));
        Assert.Equal((true, PumpCause.Level, 612.5), (pump.Running, pump.Cause, pump.Watts!.Value));
        Assert.Empty(edge.Data(4, "05:05", Metric(null, 9, alias: 8), Metric(null, 1, alias: 99), Metric("Other", 1, OfInt32))); // Unmapped and unknown.
        Assert.Equal(0, edge.Asked);
    }

    [Fact] // [payloads-sequence-num-incrementing]: … 254, 255, 0, 1.
    public void Sequence_numbers_wrap_after_255()
    {
        var edge = new Edge();
        edge.Birth(seq: 253); // The specification is of two minds whether a birth has 0 or any number (CHECKS I3).
        foreach (var (seq, low) in new[] { (254, false), (255, true), (0, false), (1, true) })
        {
            Assert.Equal([$"05:02 {(low ? 1 : 0)}0"], Edge.Levels(edge.Data(seq, "05:02", Metric(null, low, alias: 1))));
        }

        Assert.Equal((null, 0), (edge.Node.WaitsUntil, edge.Asked));
    }

    [Fact] // [operational-behavior-host-reordering-start], [-success]
    public void What_comes_out_of_its_turn_waits_for_what_is_missing()
    {
        var edge = new Edge();
        edge.Birth(seq: 253);
        Assert.Empty(edge.Data(255, "05:03", Metric(null, true, alias: 2)));
        Assert.Empty(edge.Data(0, "05:04", Metric(null, false, alias: 2)));
        Assert.NotNull(edge.Node.WaitsUntil);
        Assert.Equal(["05:02 00", "05:03 01", "05:04 00"], Edge.Levels(edge.Data(254, "05:02", Metric(null, false, alias: 1))));
        Assert.Equal((null, 0), (edge.Node.WaitsUntil, edge.Asked));
        Assert.Empty(edge.Tick("06:00"));
    }

    [Fact] // [operational-behavior-host-reordering-rebirth]
    public void What_stays_missing_is_given_up_and_a_rebirth_asked_for()
    {
        var edge = new Edge();
        edge.Birth(seq: 253);
        edge.Data(254, "05:02", Metric(null, false, alias: 1));
        Assert.Empty(edge.Data(1, "05:03", Metric(null, true, alias: 2))); // 255 and 0 are missing.
        Assert.Equal(Scenario.TimeOf("05:03") + EdgeNode.ReorderTimeout, edge.Node.WaitsUntil);
        Assert.Empty(edge.Tick("05:03"));
        Assert.Equal(["05:03 01"], Edge.Levels(edge.Tick("05:04"))); // Nothing that came is lost.
        Assert.Equal(1, edge.Asked);
        Assert.Equal(["05:05 11"], Edge.Levels(edge.Data(2, "05:05", Metric(null, true, alias: 1))));
    }

    [Fact]
    public void Too_many_that_wait_are_not_waited_with()
    {
        var edge = new Edge();
        edge.Birth();
        var levels = Enumerable.Range(2, 65).SelectMany(seq => Edge.Levels(edge.Data(seq, "05:02", Metric(null, seq % 2 == 0, alias: 1)))).Count();
        Assert.Equal((65, 1, null), (levels, edge.Asked, edge.Node.WaitsUntil));

        Assert.Empty(edge.Data(100, "05:03", Metric(null, new string('x', 200_000), alias: 4)));
        Assert.Equal(2, edge.Data(101, "05:03", Metric(null, new string('x', 100_000), alias: 4)).Length); // More bytes than may wait.
        Assert.Empty(edge.Data(110, "05:03", Metric(null, true, alias: 1)));
        Assert.Equal(2, edge.Data(110, "05:03", Metric(null, true, alias: 1)).Length); // The same number again.
    }

    [Fact]
    public void Data_before_any_birth_are_kept_as_refused_and_a_rebirth_is_asked_for_now_and_then()
    {
        var edge = new Edge(); // Asked at 05:00.
        Assert.Equal([RefusalReason.BeforeBirth], Edge.Refused(edge.Take(SparkplugType.NDATA, "", Payload(7, null, Metric(null, true, alias: 1)), "05:00")));
        Assert.Equal(0, edge.Asked);
        Assert.Equal([RefusalReason.BeforeBirth], Edge.Refused(edge.Data(8, "05:01", Metric(null, true, alias: 1))));
        Assert.Equal([RefusalReason.BeforeBirth], Edge.Refused(edge.Take(SparkplugType.DBIRTH, "sump", Payload(9, null, Metric("Probes", 3, OfInt32)), "05:01")));
        Assert.Equal(1, edge.Asked);
        Assert.Equal([RefusalReason.BeforeBirth], Edge.Refused(edge.Data(8, "05:02", Metric(null, true, alias: 1))));
        Assert.Equal(2, edge.Asked);
        Assert.NotEmpty(Edge.Seen(edge.Birth(at: "05:03")));
    }

    [Fact]
    public void A_request_that_would_come_too_soon_is_made_later_unless_the_birth_comes_first()
    {
        var edge = new Edge(); // Asked at 05:00.
        edge.Take(SparkplugType.NDATA, "", Payload(7, null, Metric(null, true, alias: 1)), "05:00");
        Assert.Equal((0, Scenario.TimeOf("05:00") + EdgeNode.RebirthEvery), (edge.Asked, edge.Node.WaitsUntil));
        edge.Tick("05:01");
        Assert.Equal((1, null), (edge.Asked, edge.Node.WaitsUntil));
        edge.Take(SparkplugType.NDATA, "", Payload(8, null, Metric(null, true, alias: 1)), "05:01");
        Assert.NotNull(edge.Node.WaitsUntil);
        edge.Birth(at: "05:01");
        Assert.Null(edge.Node.WaitsUntil);
        edge.Tick("05:02");
        Assert.Equal(1, edge.Asked);
    }

    [Fact] // CHECKS I3 [D]: NDEATH of bdSeq 7 after the birth of 8 is a late will.
    public void The_death_of_an_earlier_birth_is_ignored()
    {
        var edge = new Edge();
        edge.Birth(bdSeq: 8);
        Assert.Empty(edge.Death(7, "05:02"));
        Assert.NotEmpty(Edge.Seen(edge.Data(1, "05:03", Metric(null, false, alias: 1))));
    }

    [Fact] // [operational-behavior-edge-node-termination-host-action]: node and devices are offline, at the host's time.
    public void A_death_takes_the_node_and_its_devices_off_line_until_the_next_birth()
    {
        var edge = new Edge();
        edge.Birth();
        edge.Take(SparkplugType.DBIRTH, "sump", Payload(1, Scenario.TimeOf("05:01"), Metric("Probes", 3, OfUInt8, 20)), "05:01");
        var offline = Edge.Seen(edge.Death(8, "05:02")).Cast<StatusObservation>().ToArray();
        Assert.Equal([("u1", false), ("u2", false)], offline.Select(status => (status.Stamp.Unit.Value, status.Online)).Order());
        Assert.All(offline, status => Assert.Equal(Scenario.TimeOf("05:02"), status.Stamp.At));
        Assert.Empty(edge.Death(8, "05:03")); // Its will, after it took leave.
        Assert.Equal([RefusalReason.BeforeBirth], Edge.Refused(edge.Data(2, "05:03", Metric(null, false, alias: 1))));
        Assert.NotEmpty(Edge.Seen(edge.Birth(bdSeq: 9, at: "05:04")));
    }

    [Fact]
    public void What_waits_when_the_node_dies_is_not_lost()
    {
        var edge = new Edge();
        edge.Birth();
        edge.Data(2, "05:02", Metric(null, false, alias: 1));
        Assert.Equal(["05:02 00"], Edge.Levels(edge.Death(8, "05:03")));
    }

    [Fact]
    public void A_device_is_born_speaks_and_dies_for_itself_in_the_count_of_its_node()
    {
        var edge = new Edge();
        edge.Birth();
        Assert.Equal([RefusalReason.BeforeBirth], Edge.Refused(edge.Take(SparkplugType.DDATA, "sump", Payload(1, null, Metric("Probes", 3)), "05:02")));
        var born = Edge.Seen(edge.Take(SparkplugType.DBIRTH, "sump", Payload(2, Scenario.TimeOf("05:03"), Metric("Probes", 3, OfUInt8, 20)), "05:03"));
        Assert.Equal(0b11, Assert.Single(born.OfType<LevelObservation>()).Wet);
        Assert.True(Assert.Single(born.OfType<StatusObservation>()).Online);
        Assert.Empty(edge.Take(SparkplugType.DDATA, "neighbour", Payload(3, null, Metric("Probes", 3)), "05:03")); // No site file names it; it counts all the same.
        Assert.Equal(["05:04 10"], Edge.Levels(edge.Take(SparkplugType.DDATA, "sump", Payload(4, Scenario.TimeOf("05:04"), Metric(null, 1, alias: 20)), "05:04")));
        var dead = Assert.IsType<StatusObservation>(Assert.Single(Edge.Seen(edge.Take(SparkplugType.DDEATH, "sump", Payload(5, Scenario.TimeOf("05:05")), "05:06"))));
        Assert.Equal((false, "u2", Scenario.TimeOf("05:05")), (dead.Online, dead.Stamp.Unit.Value, dead.Stamp.At));
        Assert.Null(edge.Node.WaitsUntil);
    }
}
