using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

/// <summary>What people were told, as the ledger lists it.</summary>
public sealed class AlertLoadTests
{
    private static readonly SiteId Alder = new("alder-row");

    [Fact]
    public async Task What_was_told_and_to_whom_is_listed_once_and_its_ending_is_not()
    {
        await using var rig = await Rig.RunningAsync();
        await FaultAsync(rig);
        await rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", "111", 2));
        await rig.PassAsync(TimeSpan.FromMinutes(15));
        await rig.SettleAsync();
        var one = Assert.Single(rig.Ledger.ListAnnunciations(Alder, Rig.Noon, Rig.Noon.AddHours(1)));
        Assert.Equal((FindingKind.ProbeFault, Alder), (one.Told.Source.Kind, one.Told.Source.Site));
        var letter = Assert.Single(one.Letters);
        Assert.Equal(("caretaker@example.org", one.Told.At), (letter.Address, letter.At));
        Assert.InRange(one.Told.ActiveUntil!.Value, one.Told.At, Rig.Noon.AddMinutes(20));
        Assert.Single(rig.Ledger.ListAnnunciations(null, Rig.Noon, Rig.Noon.AddHours(1)));
        Assert.Empty(rig.Ledger.ListAnnunciations(new("birch-row"), Rig.Noon, Rig.Noon.AddHours(1)));
        Assert.Empty(rig.Ledger.ListAnnunciations(Alder, Rig.Noon.AddHours(1), Rig.Noon.AddHours(2)));
    }

    [Fact]
    public async Task What_was_told_long_ago_and_still_stands_is_listed_too()
    {
        await using var rig = await Rig.RunningAsync();
        await FaultAsync(rig);
        Assert.Single(rig.Ledger.ListAnnunciations(Alder, Rig.Noon.AddDays(1), Rig.Noon.AddDays(2)));
    }

    [Fact]
    public async Task A_letter_that_waits_for_the_end_of_quiet_hours_is_heard_then()
    {
        await using var rig = await Rig.RunningAsync();
        await FaultAsync(rig);
        var told = rig.Ledger.ListAnnunciations(Alder, Rig.Noon, Rig.Noon.AddHours(1))[0].Told;
        var contact = new Contact("Installer", "installer@example.org", null, "installer", "en");
        var waits = new Notification($"{told.Alert}.{told.Number}.00000000", [], NotifyReason.Opened, contact, rig.Ledger.FindAlert(told.Alert)!) { NotBefore = Rig.Noon.AddHours(9) };
        rig.Database.Write(connection => LedgerStore.Post(connection, [new(waits, "m@localhost", "Alder Row", "UTC")], rig.Time.GetUtcNow()));
        var letters = rig.Ledger.ListAnnunciations(Alder, Rig.Noon, Rig.Noon.AddHours(1))[0].Letters;
        Assert.Equal([("caretaker@example.org", told.At), ("installer@example.org", Rig.Noon.AddHours(9))], letters.Select(letter => (letter.Address, letter.At)).Order());
    }

    [Fact]
    public async Task Only_alerts_that_were_closed_with_a_cause_are_listed_as_closed()
    {
        await using var rig = await Rig.RunningAsync();
        await FaultAsync(rig);
        Assert.Empty(rig.Ledger.ListClosed(null));
        var id = rig.Ledger.ListAnnunciations(Alder, Rig.Noon, Rig.Noon.AddHours(1))[0].Told.Alert;
        await rig.Directory.TellAsync(new Close(id, "rosa", FoundCauses.NothingWrong, "all lamps were lit"), CancellationToken.None);
        Assert.Equal([FoundCauses.NothingWrong], rig.Ledger.ListClosed(Alder).Select(alert => alert.CauseFound));
        Assert.Empty(rig.Ledger.ListClosed(new("birch-row")));
        var closing = rig.Ledger.ListAlertEvents(id).Select(stored => StoredJson.Read<AlertEvent>(stored.Json)).OfType<AlertClosed>().Single();
        Assert.Equal("all lamps were lit", closing.Note);
        Assert.Null(StoredJson.Read<AlertEvent>("""{"type":"closed","alertId":"a","at":"2026-03-02T12:00:00+00:00","by":"rosa","causeFound":"x"}""") is AlertClosed { Note: var none } ? none : "no closing"); // As stored before notes.
    }

    /// <summary>Probes in an order that cannot be, for long enough to be told.</summary>
    private static async Task FaultAsync(Rig rig)
    {
        await rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", "101", 1));
        await rig.PassAsync(TimeSpan.FromMinutes(3));
        await rig.SettleAsync();
    }
}
