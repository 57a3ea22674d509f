using System.Text;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.FieldMessages;

public sealed class DecoderTests
{
    private static readonly SitePlan Plan = Plans.House();
    private static readonly DateTimeOffset Received = Scenario.TimeOf("06:00");

    private static Decoded[] Decode(string json, MessageKind kind = MessageKind.Level) =>
        [.. FieldMessageDecoder.Decode(Plan, Plan.Units[0], kind, Encoding.UTF8.GetBytes(json), Received)];

    private static Decoded.Accepted Taken(string json, MessageKind kind = MessageKind.Level) => Assert.IsType<Decoded.Accepted>(Assert.Single(Decode(json, kind)));

    [Fact]
    public void A_level_is_read_from_the_lowest_probe_up()
    {
        var seen = Assert.IsType<LevelObservation>(Taken("""{"at":"2026-03-02T05:59:00Z","boot":3,"seq":7,"tank":"roof","wet":[true,false,true],"colour":"blue"}""").Seen);
        Assert.Equal((1, 0b101), (seen.Tank, seen.Wet));
        Assert.Equal((3L, 7L, Scenario.TimeOf("05:59"), Received), (seen.Stamp.Boot, seen.Stamp.Seq, seen.Stamp.At, seen.Stamp.ReceivedAt));
    }

    [Theory]
    [InlineData("running", "level", null, true)]
    [InlineData("stopped", "top-up", "auto", false)]
    [InlineData("stopped", "under-voltage", "manual", false)]
    public void A_pump_is_read_with_its_cause_and_mode(string state, string cause, string? mode, bool running)
    {
        var seen = Assert.IsType<PumpObservation>(Taken($$"""{"pump":"p1","state":"{{state}}","cause":"{{cause}}"{{(mode is null ? "" : $",\"mode\":\"{mode}\"")}},"volts":229.5,"watts":612}""", MessageKind.Pump).Seen);
        Assert.Equal((running, cause, mode is null ? (bool?)null : mode == "manual"), (seen.Running, PumpCauses.Of(seen.Cause), seen.Manual));
        Assert.Equal((229.5, null, 612.0), (seen.Volts, seen.Amps, seen.Watts));
    }

    [Theory] // INTERFACE 1: the causes are a format.
    [InlineData("level", "top-up", "manual", "sump-low", "dry-run", "under-voltage", "over-voltage", "overload", "power", "unknown")]
    public void Every_published_cause_is_known(params string[] causes)
    {
        Assert.Equal(causes.Order(), PumpCauses.Names.Order());
        Assert.All(causes, cause => Assert.Equal(cause, PumpCauses.Of(PumpCauses.Parse(cause))));
    }

    [Fact]
    public void Inlet_supply_and_status_are_read()
    {
        Assert.True(Assert.IsType<InletObservation>(Taken("""{"pump":"p1","flowing":true}""", MessageKind.Inlet).Seen).Flowing);
        Assert.Equal((false, 0), (Assert.IsType<SupplyObservation>(Taken("""{"mains":false,"volts":0}""", MessageKind.Supply).Seen) is var s ? (s.Mains, s.Volts!.Value) : default));
        var status = Assert.IsType<StatusObservation>(Taken("""{"online":false,"boot":4}""", MessageKind.Status).Seen);
        Assert.Equal((false, 4L, null), (status.Online, status.Stamp.Boot, status.Stamp.Seq));
    }

    [Theory]
    [InlineData(MessageKind.Level, "{", RefusalReason.MalformedJson)]
    [InlineData(MessageKind.Level, "", RefusalReason.MalformedJson)]
    [InlineData(MessageKind.Level, "nonsense", RefusalReason.MalformedJson)]
    [InlineData(MessageKind.Level, """{"tank":"\ud800","wet":[true]}""", RefusalReason.MalformedJson)]
    [InlineData(MessageKind.Level, "7", RefusalReason.WrongType)]
    [InlineData(MessageKind.Level, "null", RefusalReason.WrongType)]
    [InlineData(MessageKind.Level, """{"wet":[true,true,true]}""", RefusalReason.MissingMember)]
    [InlineData(MessageKind.Level, """{"tank":"roof"}""", RefusalReason.MissingMember)]
    [InlineData(MessageKind.Level, """{"tank":7,"wet":[true,true,true]}""", RefusalReason.WrongType)]
    [InlineData(MessageKind.Level, """{"tank":"roof","wet":"111"}""", RefusalReason.WrongType)]
    [InlineData(MessageKind.Level, """{"tank":"roof","wet":[1,1,1]}""", RefusalReason.WrongType)]
    [InlineData(MessageKind.Level, """{"tank":"attic","wet":[true,true,true]}""", RefusalReason.UnknownDevice)]
    [InlineData(MessageKind.Level, """{"tank":"p1","wet":[true,true,true]}""", RefusalReason.UnknownDevice)]
    [InlineData(MessageKind.Level, """{"tank":"roof","wet":[true,true]}""", RefusalReason.WrongProbeCount)]
    [InlineData(MessageKind.Level, """{"tank":"roof","wet":[true,true,true,true]}""", RefusalReason.WrongProbeCount)]
    [InlineData(MessageKind.Level, """{"tank":"roof","wet":[true,true,true],"seq":-1}""", RefusalReason.OutOfRange)]
    [InlineData(MessageKind.Level, """{"tank":"roof","wet":[true,true,true],"seq":9007199254740992}""", RefusalReason.OutOfRange)]
    [InlineData(MessageKind.Level, """{"tank":"roof","wet":[true,true,true],"boot":4294967296}""", RefusalReason.OutOfRange)]
    [InlineData(MessageKind.Level, """{"tank":"roof","wet":[true,true,true],"boot":"one"}""", RefusalReason.WrongType)]
    [InlineData(MessageKind.Pump, """{"pump":"p1","state":"resting","cause":"level"}""", RefusalReason.OutOfRange)]
    [InlineData(MessageKind.Pump, """{"pump":"p1","state":"stopped","cause":"mood"}""", RefusalReason.OutOfRange)]
    [InlineData(MessageKind.Pump, """{"pump":"p1","state":"stopped"}""", RefusalReason.MissingMember)]
    [InlineData(MessageKind.Pump, """{"pump":"p1","state":"stopped","cause":"level","mode":"off"}""", RefusalReason.OutOfRange)]
    [InlineData(MessageKind.Pump, """{"pump":"p1","state":"stopped","cause":"level","volts":-5}""", RefusalReason.OutOfRange)]
    [InlineData(MessageKind.Pump, """{"pump":"p1","state":"stopped","cause":"level","volts":"230"}""", RefusalReason.WrongType)]
    [InlineData(MessageKind.Pump, """{"pump":"p9","state":"stopped","cause":"level"}""", RefusalReason.UnknownDevice)]
    [InlineData(MessageKind.Inlet, """{"pump":"p1","flowing":"yes"}""", RefusalReason.WrongType)]
    [InlineData(MessageKind.Supply, """{"volts":230}""", RefusalReason.MissingMember)]
    [InlineData(MessageKind.Status, """{"online":true,"batteryPercent":101}""", RefusalReason.OutOfRange)]
    [InlineData(MessageKind.Status, """{"online":1}""", RefusalReason.WrongType)]
    public void What_cannot_be_read_is_refused_with_its_reason_and_kept_whole(MessageKind kind, string json, RefusalReason reason)
    {
        var refused = Assert.IsType<Decoded.Refused>(Assert.Single(Decode(json, kind)));
        Assert.Equal(reason, refused.Reason);
        Assert.Equal(json, Encoding.UTF8.GetString(refused.Json.Span));
        Assert.NotEqual("", refused.Detail);
    }

    [Fact]
    public void The_largest_numbers_that_are_allowed_are_taken() =>
        Assert.Equal((4294967295L, 9007199254740991L), Taken("""{"tank":"roof","wet":[true,true,true],"boot":4294967295,"seq":9007199254740991}""").Seen.Stamp is var s ? (s.Boot!.Value, s.Seq!.Value) : default);

    [Theory]
    [InlineData("1970-01-01T00:00:12Z")]
    [InlineData("2019-12-31T23:59:59Z")]
    [InlineData("2026-03-09T06:00:00Z")] // Next week.
    [InlineData("2026-03-02T06:05:00.001Z")] // More than five minutes ahead.
    public void A_time_that_is_not_believed_is_kept_and_the_receipt_serves(string at)
    {
        var stamp = Taken($$"""{"at":"{{at}}","tank":"roof","wet":[true,true,true]}""").Seen.Stamp;
        Assert.Equal((Received, Received), (stamp.At, stamp.ReceivedAt));
        Assert.NotNull(stamp.ClaimedAt);
    }

    [Theory]
    [InlineData("")]
    [InlineData("\"at\":null,")]
    [InlineData("\"at\":1772431200,")]
    [InlineData("\"at\":\"this morning\",")]
    [InlineData("\"at\":\"9999-12-31T23:59:60Z\",")]
    [InlineData("\"at\":{},")]
    public void A_time_that_is_absent_or_unreadable_never_refuses_the_message(string at)
    {
        var stamp = Taken($$"""{ {{at}} "tank":"roof","wet":[true,true,true]}""").Seen.Stamp;
        Assert.Equal((Received, null), (stamp.At, stamp.ClaimedAt));
    }

    [Theory]
    [InlineData("2020-01-01T00:00:00Z")]
    [InlineData("2026-03-02T06:05:00Z")] // Five minutes ahead are believed.
    [InlineData("2026-02-20T06:00:00+05:30")] // A backlog of days.
    public void A_plausible_time_is_the_time_of_the_event(string at)
    {
        var stamp = Taken($$"""{"at":"{{at}}","tank":"roof","wet":[true,true,true]}""").Seen.Stamp;
        Assert.Equal(DateTimeOffset.Parse(at, System.Globalization.CultureInfo.InvariantCulture), stamp.At);
        Assert.Equal(stamp.At, stamp.ClaimedAt);
    }

    [Theory] // RFC 3339, 5.6 [M]: seconds and offset are not optional; a dot needs a digit behind it.
    [InlineData("2026-03-02T05:59Z")]
    [InlineData("2026-03-02T05:59:00")]
    [InlineData("2026-03-02T05:59:00.Z")]
    [InlineData("2026-03-02")]
    public void What_is_almost_a_time_is_none(string at) =>
        Assert.Null(Taken($$"""{"at":"{{at}}","tank":"roof","wet":[true,true,true]}""").Seen.Stamp.ClaimedAt);

    [Fact]
    public void Of_a_member_that_stands_twice_the_last_counts_and_escapes_are_read()
    {
        var seen = Assert.IsType<LevelObservation>(Taken("""{"tank":"sump","wet":[false,false,false],"t\u0061nk":"ro\u006ff","wet":[true,true,true]}""").Seen);
        Assert.Equal((1, 0b111), (seen.Tank, seen.Wet));
    }

    [Theory]
    [InlineData("tankwatch/v1/fu-1/level", true)]
    [InlineData("tankwatch/v1/fu_1.A-z/status", true)]
    [InlineData("tankwatch/v1/fu-1/levels", false)]
    [InlineData("tankwatch/v1/fu-1/Level", false)]
    [InlineData("tankwatch/v1/fu-1", false)]
    [InlineData("tankwatch/v1/fu-1/level/more", false)]
    [InlineData("tankwatch/v1//level", false)]
    [InlineData("tankwatch/v1/fu 1/level", false)]
    [InlineData("tankwatch/v1/fü/level", false)]
    [InlineData("tankwatch/v2/fu-1/level", false)]
    [InlineData("$SYS/broker/load", false)]
    [InlineData("", false)]
    public void Topics_are_read_strictly(string topic, bool known)
    {
        Assert.Equal(known, FieldMessageDecoder.TryReadTopic(topic, out _, out _, out var detail));
        Assert.Equal(known, detail.Length == 0);
    }

    [Theory]
    [InlineData(64, true)]
    [InlineData(65, false)]
    public void A_units_id_has_at_most_64_characters(int length, bool known) =>
        Assert.Equal(known, FieldMessageDecoder.TryReadTopic($"tankwatch/v1/{new string('a', length)}/level", out _, out _, out _));
}
