using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage.Keeping;

/// <summary>Every kind of damage is found and named, and a store without any is clean.</summary>
public sealed class StoreCheckTests
{
    [Fact]
    public async Task A_store_that_has_lived_is_clean_and_all_of_it_was_looked_at()
    {
        await using var rig = await LivedStore.RunningAsync();
        var (done, said) = await LivedStore.CheckAsync(rig);
        Assert.Empty(said);
        Assert.Equal((0, 1, 0), (done.Faults, done.Sites, done.Uncheckable));
        Assert.Equal(7 * 6 + 2, done.Messages);
        Assert.Equal(7L, rig.Database.Read(c => c.Scalar("SELECT count(*) FROM runs")));
        Assert.Equal(7 + (long)rig.Database.Read(c => c.Scalar("SELECT count(*) FROM days"))!, done.Agreeing);
        Assert.Equal(rig.Database.Read(c => c.Scalar("SELECT count(*) FROM alerts")), done.Alerts);
    }

    [Theory]
    [InlineData("UPDATE journal SET batch = {0} WHERE id = (SELECT max(id) FROM journal)", "batch", "journal")]
    [InlineData("UPDATE blocks SET data = {0} WHERE id = (SELECT min(id) FROM blocks)", "data", "block")]
    [InlineData("UPDATE unit_counts SET counts = {0}", "counts", "unit fu-1")]
    [InlineData("UPDATE site_marks SET state = {0}", "state", "the state of site alder-row")]
    [InlineData("UPDATE snapshots SET state = {0}", "state", "a snapshot of site alder-row")]
    public async Task A_byte_that_turned_is_found_in_whatever_is_packed(string update, string column, string named)
    {
        await using var rig = await LivedStore.RunningAsync();
        rig.Database.Write(c =>
        {
            SeriesStore.Save(c, new("alder-row"), new(1, [], new byte[50]));
            SeriesStore.Replace(c, new("alder-row"), null, [new StoredSnapshot(Rig.Noon, new byte[50])], _ => []);
        });
        var flipped = $"CAST(substr({column}, 1, 4) || x'5a' || substr({column}, 6) AS BLOB)";
        Assert.True(rig.Database.Write(c => c.Execute(string.Format(System.Globalization.CultureInfo.InvariantCulture, update, flipped))) > 0);
        await LivedStore.FindsAsync(rig, named);
    }

    [Theory]
    [InlineData("UPDATE blocks SET rows = rows + 1 WHERE id = (SELECT max(id) FROM blocks)", "and says")]
    [InlineData("UPDATE blocks SET id = id + 3600000 * 20 WHERE id = (SELECT max(id) FROM blocks)", "part of the day")]
    [InlineData("UPDATE blocks SET id = id + (1 << 50) WHERE id = (SELECT max(id) FROM blocks)", "which is not known")]
    [InlineData("DELETE FROM blocks WHERE id = (SELECT max(id) FROM blocks)", "are counted and")]
    [InlineData("DELETE FROM unit_counts", "are not in its counts")]
    [InlineData("DELETE FROM days WHERE date = '2026-03-02'", "the day 2026-03-02 is missing")]
    [InlineData("UPDATE days SET json = replace(json, '\"starts\":', '\"starts\":1') WHERE date = '2026-03-02'", "the day 2026-03-02 is not what")]
    [InlineData("UPDATE days SET json = '{' WHERE date = '2026-03-02'", "the day 2026-03-02 cannot be read")]
    [InlineData("DELETE FROM runs WHERE started = (SELECT min(started) FROM runs)", "the run of p1 from 2026-03-02T12:")]
    [InlineData("UPDATE runs SET json = replace(json, '\"manual\":false', '\"manual\":true')", "is not what the messages say")]
    [InlineData("UPDATE runs SET started = started + 1 WHERE started = (SELECT min(started) FROM runs)", "is stored, and not in the messages")]
    [InlineData("UPDATE site_marks SET position = 1000000", "up to position 1000000")]
    [InlineData("DELETE FROM alert_log WHERE n = 0", "is not in the log of all alerts")]
    [InlineData("DELETE FROM alert_events WHERE n = 0", "stored are the numbers 1")]
    [InlineData("UPDATE alert_events SET json = 'x' WHERE n = 0", "event 0 of alert")]
    [InlineData("UPDATE alerts SET json = replace(json, '\"id\":\"', '\"id\":\"x')", "says that it is x")]
    [InlineData("UPDATE outbox SET json = '[]'", "letter 1 of the outbox")]
    [InlineData("INSERT INTO contracts (site, json, updated) VALUES ('alder-row', '{', 0)", "the contract of site alder-row")]
    [InlineData("INSERT INTO visits (id, site, state, starts, json) VALUES ('v1', 'alder-row', 'planned', 0, '{')", "visit v1")]
    [InlineData("PRAGMA foreign_keys=OFF; DELETE FROM alerts", "rows of outbox refer to rows of alerts")]
    public async Task What_was_changed_or_taken_away_is_named(string change, string named)
    {
        await using var rig = await LivedStore.RunningAsync();
        rig.Database.Alone(c => c.Execute(change));
        await LivedStore.FindsAsync(rig, named);
    }

    [Fact]
    public async Task Messages_that_are_stored_and_not_judged_yet_are_no_fault()
    {
        await using var rig = await LivedStore.RunningAsync();
        await rig.StopAsync();
        await using var again = rig.Again();
        again.Database.Write(c => c.Execute("DELETE FROM runs WHERE started = (SELECT max(started) FROM runs)"));
        var (done, said) = await LivedStore.CheckAsync(again);
        Assert.Equal(0, done.Faults);
        Assert.Contains("not judged yet", Assert.Single(said), StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_late_messages_may_still_change_is_no_fault_and_what_lies_before_them_is()
    {
        await using var rig = await LivedStore.RunningAsync();
        rig.Database.Write(c => c.Execute("UPDATE runs SET json = replace(json, '\"manual\":false', '\"manual\":true')"));
        var (done, said) = await LivedStore.CheckAsync(rig);
        Assert.Equal(6, done.Faults);
        Assert.Equal(7, said.Count);
        Assert.Contains("what came late", said.Single(line => line.StartsWith("note: ", StringComparison.Ordinal)), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_saved_state_of_another_site_file_is_a_note()
    {
        await using var rig = await LivedStore.RunningAsync();
        rig.Database.Write(c => SeriesStore.Save(c, new("alder-row"), new(1, [], new byte[50])));
        var (done, said) = await LivedStore.CheckAsync(rig);
        Assert.Equal(0, done.Faults);
        Assert.StartsWith("note: ", Assert.Single(said), StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_a_service_puts_right_meanwhile_is_no_fault()
    {
        await using var rig = await LivedStore.RunningAsync();
        var json = (string)rig.Database.Read(c => c.Scalar("SELECT json FROM days WHERE date = '2026-03-02'"))!;
        rig.Database.Write(c => c.Execute("DELETE FROM days WHERE date = '2026-03-02'"));
        var looks = 0;
        var (done, _) = await LivedStore.CheckAsync(rig, () =>
        {
            rig.Database.Write(c => c.Execute(++looks < 3
                ? "INSERT INTO alert_log (alert, n) SELECT alert, n FROM alert_log LIMIT 0; UPDATE site_marks SET position = position - 1"
                : $"INSERT INTO days VALUES ('alder-row', '2026-03-02', '{json}')"));
            return Task.CompletedTask;
        });
        Assert.Equal((0, 3), (done.Faults, looks));
    }

    [Fact]
    public async Task A_store_that_is_written_to_all_the_time_is_clean()
    {
        await using var rig = await LivedStore.RunningAsync();
        using var enough = new CancellationTokenSource();
        var writing = Task.Run(
            async () =>
            {
                for (var seq = 1000L; !enough.IsCancellationRequested; seq += 10)
                {
                    await LivedStore.FillAsync(rig, seq);
                }
            }, TestContext.Current.CancellationToken);
        for (var round = 0; round < 5; round++)
        {
            var (done, said) = await LivedStore.CheckAsync(rig, () => rig.SettleAsync());
            Assert.DoesNotContain(said, line => line.StartsWith("fault", StringComparison.Ordinal));
            Assert.Equal(1, done.Sites);
        }

        await enough.CancelAsync();
        await writing;
    }
}
