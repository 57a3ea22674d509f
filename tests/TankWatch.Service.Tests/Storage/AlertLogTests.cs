using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Findings;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

public sealed class AlertLogTests
{
    private static readonly SiteId Alder = new("alder-row");

    [Fact]
    public void A_store_of_the_former_version_keeps_its_events_and_they_are_in_order_of_time()
    {
        var folder = Directory.CreateTempSubdirectory("tankwatch-").FullName;
        using (var former = new SqliteConnection($"Data Source={Path.Combine(folder, "tankwatch.db")};Pooling=False"))
        {
            former.Open();
            Schema.Bring(former, last: 1);
            former.Execute("INSERT INTO sites (id, json, updated) VALUES ('alder-row', '{}', 0)");
            foreach (var alert in (string[])["b", "a"])
            {
                former.Execute(
                    "INSERT INTO alerts (id, site, device, kind, state, since, raised, json) VALUES (?1, 'alder-row', 'roof', 'leak', 'normal', 0, 0, '{}')", alert);
            }

            // The clock was set back from 30 to 25 between two events of a.
            foreach (var (alert, n, at) in ((string, int, int)[])[("a", 0, 10), ("a", 1, 30), ("a", 2, 25), ("a", 3, 40), ("b", 0, 10), ("b", 1, 20), ("b", 2, 35)])
            {
                former.Execute("INSERT INTO alert_events (alert, n, at, type, json) VALUES (?1, ?2, ?3, 'noted', '{}')", alert, n, at);
            }
        }

        using (var database = new Database(folder, TimeSpan.FromSeconds(10)))
        {
            Assert.Equal(
                ["1 a0", "2 b0", "3 b1", "4 a1", "5 a2", "6 b2", "7 a3"],
                database.Read(c => c.List("SELECT position || ' ' || alert || n FROM alert_log ORDER BY position", row => row.GetString(0))));
            Assert.Equal(7, new LedgerStore(database, TimeProvider.System).ReadAlertPosition());
            Assert.Equal(7L, database.Read(c => c.Scalar("SELECT count(*) FROM alert_events")));
        }

        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task A_deleted_site_is_skipped_and_no_position_is_given_twice()
    {
        await using var rig = Rig.New();
        rig.Put(SampleSite.Json());
        rig.Put(SampleSite.Json("birch-row", "fu-2"));
        await rig.StartAsync();
        await rig.FailPowerAsync();
        var alder = rig.Ledger.ReadAlertPosition();
        await rig.SendAsync("supply", SampleSite.Supply(rig.Time.GetUtcNow(), mains: false, 1), unit: "fu-2");
        await rig.PassAsync(TimeSpan.FromMinutes(2));
        var both = rig.Ledger.ReadAlertPosition();
        Assert.True(both > alder);

        rig.Ledger.DeleteSite(new("birch-row"));
        Assert.Equal(both, rig.Ledger.ReadAlertPosition());
        var left = rig.Ledger.ReadAlertLog(null, null, 0, 100);
        Assert.Equal(both, left.Position);
        Assert.All(left.Events, logged => Assert.Equal(Alder, logged.Alert.Site));
        Assert.Equal(["raised", "notified"], left.Events.Select(logged => logged.Happened.Type));
        await rig.RestorePowerAsync(seq: 2);
        Assert.All(rig.Ledger.ReadAlertLog(null, null, both, 100).Events, logged => Assert.True(logged.Position > both));
    }

    [Fact]
    public async Task The_log_is_read_in_parts_that_leave_out_nothing_and_a_filter_looks_through_what_it_does_not_show()
    {
        await using var rig = await Rig.RunningAsync();
        await rig.FailPowerAsync();
        await rig.RestorePowerAsync(seq: 2);
        var whole = rig.Ledger.ReadAlertLog(null, null, 0, 100);
        var parts = new List<long>();
        for (long after = 0; rig.Ledger.ReadAlertLog(Alder, FindingKind.PowerFailure, after, 1) is { Events: [var one] } part; after = part.Position)
        {
            parts.Add(one.Position);
        }

        Assert.Equal(whole.Events.Select(logged => logged.Position), parts);
        Assert.True(parts.Count >= 3);
        foreach (var hidden in (AlertLogPart[])[rig.Ledger.ReadAlertLog(new("other"), null, 0, 1), rig.Ledger.ReadAlertLog(null, FindingKind.Leak, 0, 1)])
        {
            Assert.Empty(hidden.Events);
            Assert.Equal(whole.Position, hidden.Position);
        }
    }
}
