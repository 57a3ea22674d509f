using System.Text.Json;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Observations;
using TankWatch.Core.Texts;
using TankWatch.Core.Timelines;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

public sealed class StoredJsonTests
{
    private static readonly DateTimeOffset At = Rig.Noon.AddTicks(7);

    internal static Finding SampleFinding { get; } = new(
        FindingKind.ShortCycling, new("p1"), Priority.High, At.AddHours(-1), At, null, new("starts", new(9, 8, 10), "per hour"),
        [new("chattering-probe", 0.7)], new(Phrase.Literal("Pump p1 starts too often."), [Phrase.Literal("9 starts in an hour")], [Phrase.Literal("Look at the probe.")], [Phrase.Literal("Switch off first.")]));

    public static TheoryData<string, AlertEvent> Events => new()
    {
        { "raised", new AlertRaised("a1", At, new("s"), SampleFinding) },
        { "reraised", new AlertReraised("a1", At, SampleFinding) },
        { "returned", new AlertReturned("a1", At, SampleFinding with { ClearedAt = At }) },
        { "corrected", new AlertCorrected("a1", At, SampleFinding, AlertCorrection.Withdrawn) },
        { "reworded", new AlertReworded("a1", At, SampleFinding) },
        { "acknowledged", new AlertAcknowledged("a1", At, "ann", null) },
        { "noted", new AlertNoted("a1", At, "ann", "seen \u2028 it") },
        { "shelved", new AlertShelved("a1", At, "ann", At.AddDays(1), "parts ordered") },
        { "unshelved", new AlertUnshelved("a1", At, null) },
        { "taken-out-of-service", new AlertTakenOutOfService("a1", At, "ann", "repair") },
        { "returned-to-service", new AlertReturnedToService("a1", At, "ann") },
        { "closed", new AlertClosed("a1", At, "ann", "probe cleaned") },
        { "suppressed", new AlertSuppressed("a1", At, "a2") },
        { "cause-ended", new AlertCauseEnded("a1", At, At.AddMinutes(10)) },
        { "released", new AlertReleased("a1", At) },
        { "timer-moved", new AlertTimerMoved("a1", At, At.AddHours(1)) },
        { "notified", new AlertNotified("a1", At, NotifyReason.Graver, 1, At.AddMinutes(15), Priority.Critical) },
    };

    [Theory]
    [MemberData(nameof(Events))]
    public void An_event_is_stored_under_its_name_and_comes_back_whole(string name, AlertEvent happened)
    {
        var json = StoredJson.Write(happened);
        Assert.Equal(name, StoredJson.NameOf(happened));
        Assert.Equal(name, JsonDocument.Parse(json).RootElement.GetProperty("type").GetString());
        Assert.Equal(json, StoredJson.Write(StoredJson.Read<AlertEvent>(json)));
        Assert.Equal(happened.GetType(), StoredJson.Read<AlertEvent>(json).GetType());
    }

    [Fact]
    public void Every_kind_of_event_has_a_stored_name() => Assert.Equal(
        Events.Count, typeof(AlertEvent).Assembly.GetTypes().Count(type => type.IsSubclassOf(typeof(AlertEvent))));

    [Fact]
    public void Runs_days_and_alerts_come_back_as_they_were()
    {
        var run = new PumpRun(new("p1"), At, At.AddHours(1), PumpCause.TopUp, PumpCause.DryRun, false, true, new Estimate(10, 9, 11), null);
        Assert.Equal(run, StoredJson.Read<PumpRun>(StoredJson.Write(run)));
        var day = new SiteDay(new(2026, 3, 1), true, [new(new("p1"), 4, 12360, 3600, 0, new(1, 0, 2), null, null)], [new(new("roof"), null, null, 0)]);
        Assert.Equal(StoredJson.Write(day), StoredJson.Write(StoredJson.Read<SiteDay>(StoredJson.Write(day))));
        var alert = SampleAlert();
        var again = StoredJson.Read<Alert>(StoredJson.Write(alert));
        Assert.Equal(StoredJson.Write(alert), StoredJson.Write(again));
        Assert.Equal((alert.Id, alert.State, alert.Finding.Since), (again.Id, again.State, again.Finding.Since));
        Assert.DoesNotContain("isOpen", StoredJson.Write(alert), StringComparison.OrdinalIgnoreCase);
    }

    [Fact]
    public void A_row_of_somebody_else_is_refused_in_one_line()
    {
        var fault = Assert.Throws<StoreException>(() => StoredJson.Read<Alert>("{\"id\":5}"));
        Assert.DoesNotContain('\n', fault.Message);
    }

    [Fact]
    public void What_a_version_before_phrases_stored_is_read_as_words_to_repeat()
    {
        var text = StoredJson.Read<FindingText>("""{"summary":"Pump p1 \"east\" runs.","evidence":["Since 1 Mar 06:00."],"advice":[],"cautions":["Take care."]}""");
        Assert.Equal(Phrase.Literal("Pump p1 \"east\" runs."), text.Summary);
        Assert.Equal("Since 1 Mar 06:00.", text.In(Languages.Of("ar")).Evidence.Single());
        Assert.Equal(StoredJson.Write(text), StoredJson.Write(StoredJson.Read<FindingText>(StoredJson.Write(text))));
    }

    [Fact]
    public void A_phrase_with_values_of_every_kind_comes_back_equal_and_takes_little_room()
    {
        var phrase = Phrase.Of(
            "passage.filling", ("n", 61.3), ("name", "roof \"east\""), ("at", PhraseMoment.In(TimeZoneInfo.FindSystemTimeZoneById("Asia/Kathmandu"), At)), ("by", new TimeOnly(5, 30)),
            ("list", PhraseList.Of(ListStyle.Or, [Phrase.Of("otherwise.cause", ("share", 12)), "x"])), ("words", Phrase.Literal("as said")), ("none", Phrase.Literal("")));
        var json = StoredJson.Write(phrase);
        var again = StoredJson.Read<Phrase>(json);
        Assert.Equal(phrase, again);
        Assert.Equal(json, StoredJson.Write(again));
        Assert.Equal(((PhraseMoment)phrase.Arguments[2].Value).At.Offset, ((PhraseMoment)again.Arguments[2].Value).At.Offset);
        Assert.InRange(json.Length, 1, 260);
    }

    [Theory]
    [InlineData("[]")]
    [InlineData("[5]")]
    [InlineData("""["leak.summary","tank"]""")]
    [InlineData("""["leak.summary","tank",true]""")]
    [InlineData("""["leak.summary","tank",{"thing":[1]}]""")]
    [InlineData("""["leak.summary","tank",{}]""")]
    [InlineData("""["leak.summary","tank",{"at":"noon"}]""")]
    [InlineData("""["leak.summary","tank",{"clock":"noon"}]""")]
    [InlineData("5")]
    public void A_phrase_that_is_none_is_refused(string json) => Assert.Throws<StoreException>(() => StoredJson.Read<Phrase>(json));

    internal static Alert SampleAlert(string id = "a1") => new(
        id, new("alder-row"), SampleFinding, AlertState.Unacknowledged, At, null, null, null, null, null, At, [], null, 1);
}
