using TankWatch.Service.Configuration;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using TankWatch.Service.Storage.Keeping;
using TankWatch.Service.Tests.Storage.Keeping;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

/// <summary>A backup that comes into the store of a running service: it goes on from there, and nothing of before comes in.</summary>
public sealed class RestoreTests : IDisposable
{
    private readonly string folder = Directory.CreateTempSubdirectory("backup-").FullName;

    private string Backup => Path.Combine(folder, "backup.db");

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public async Task The_service_goes_on_from_the_backup_and_takes_new_messages()
    {
        await using var rig = await LivedStore.RunningAsync();
        BackupFile.Make(rig.Database, Backup, CancellationToken.None);
        var alerts = Alerts(rig);
        await rig.FailPowerAsync(5000);
        await LivedStore.FillAsync(rig, 5010, TimeSpan.FromSeconds(20));
        Assert.NotEqual(alerts, Alerts(rig));

        Replace(rig);
        await rig.PassAsync(TimeSpan.FromSeconds(2), TimeSpan.FromSeconds(1));
        Assert.Equal(alerts, Alerts(rig));
        Assert.DoesNotContain(rig.Directory.Find(new("alder-row"))!.OpenAlerts, alert => !alerts.Exists(known => known.StartsWith(alert.Id, StringComparison.Ordinal)));
        var (done, said) = await LivedStore.CheckAsync(rig);
        Assert.Empty(said);
        Assert.Equal(44, done.Messages);

        // The same counts again: in this store they were never taken.
        await rig.FailPowerAsync(5000);
        await LivedStore.FillAsync(rig, 5010, TimeSpan.FromSeconds(20));
        (done, said) = await LivedStore.CheckAsync(rig);
        Assert.Empty(said);
        Assert.Equal(44 + 7, done.Messages);
    }

    [Fact]
    public async Task A_message_that_meets_the_new_store_first_is_in_it_and_is_acknowledged_once()
    {
        await using var rig = await LivedStore.RunningAsync();
        BackupFile.Make(rig.Database, Backup, CancellationToken.None);
        Replace(rig);
        var receipt = new CountingReceipt();
        await TakeInAsync(rig, 7000, receipt);
        await rig.SettleAsync();
        Assert.Equal((1, 0), (receipt.Told, receipt.Given));
        Assert.Equal(45, (await LivedStore.CheckAsync(rig)).Done.Messages);
    }

    [Fact]
    public async Task A_message_told_to_be_durable_just_before_comes_into_the_new_store_too_and_is_not_told_twice()
    {
        await using var rig = await LivedStore.RunningAsync();
        BackupFile.Make(rig.Database, Backup, CancellationToken.None);

        // The receipt is told between the two transactions of a step, and the backup comes exactly there; the command makes the second one.
        using var gate = new ManualResetEventSlim();
        using var entered = new ManualResetEventSlim();
        var receipt = new CountingReceipt { WhenTold = () => Replace(rig) };
        await TakeInAsync(rig, 7000, new CountingReceipt
        {
            WhenTold = () =>
            {
                entered.Set();
                gate.Wait();
            },
        });
        await Eventually.Holds(() => entered.IsSet, "the step that is held up"); // What comes from here on is one step, the next.
        await TakeInAsync(rig, 7001, receipt);
        var alert = (string)rig.Database.Read(c => c.Scalar("SELECT id FROM alerts WHERE state LIKE '%unacknowledged' LIMIT 1"))!;
        var acknowledged = rig.Directory.TellAsync(new TankWatch.Core.Acknowledge(alert, "ann", null), CancellationToken.None);
        gate.Set();
        Assert.IsType<CommandOutcome.Done>(await acknowledged);
        await rig.PassAsync(TimeSpan.FromSeconds(2), TimeSpan.FromSeconds(1));
        Assert.Equal((1, 0), (receipt.Told, receipt.Given));
        var (done, said) = await LivedStore.CheckAsync(rig);
        Assert.Empty(said);
        Assert.InRange(done.Messages, 45, 46);
    }

    [Fact]
    public async Task Under_load_the_store_is_clean_after_every_restore()
    {
        await using var rig = await LivedStore.RunningAsync();
        BackupFile.Make(rig.Database, Backup, CancellationToken.None);
        using var enough = new CancellationTokenSource();
        var writing = Task.Run(
            async () =>
            {
                for (var seq = 10_000L; !enough.IsCancellationRequested; seq += 10)
                {
                    await LivedStore.FillAsync(rig, seq);
                }
            }, TestContext.Current.CancellationToken);
        for (var round = 0; round < 5; round++)
        {
            Replace(rig);
            await Eventually.Holds(() => !rig.Database.IsReplaced(), "the taking over");
            var (done, said) = await LivedStore.CheckAsync(rig, () => rig.SettleAsync());
            Assert.DoesNotContain(said, line => line.StartsWith("fault", StringComparison.Ordinal));
            Assert.True(done.Messages >= 44);
        }

        await enough.CancelAsync();
        await writing;
    }

    [Fact]
    public async Task Sites_that_the_backup_has_not_are_gone_and_those_it_has_are_back()
    {
        await using var rig = await Rig.RunningAsync();
        Assert.Null(rig.Put(SampleSite.Json("birch-row", "fu-2")));
        BackupFile.Make(rig.Database, Backup, CancellationToken.None);
        rig.Ledger.DeleteSite(new("birch-row"));
        Assert.Null(rig.Put(SampleSite.Json("cedar-row", "fu-3")));
        await rig.SettleAsync();
        Replace(rig);
        await rig.SettleAsync();
        Assert.Equal(["alder-row", "birch-row"], rig.Directory.Sites.Select(site => site.Plan.Id.Value));
    }

    [Fact]
    public async Task Whoever_means_the_store_before_cannot_write_until_it_is_taken_over()
    {
        await using var rig = Rig.New();
        Assert.Null(rig.Put(SampleSite.Json()));
        BackupFile.Make(rig.Database, Backup, CancellationToken.None);
        Replace(rig);
        Assert.True(rig.Database.IsReplaced());
        Assert.Throws<StoreReplacedException>(() => rig.Put(SampleSite.Json()));
        rig.Database.TakeOver();
        Assert.Null(rig.Put(SampleSite.Json()));
    }

    private static ValueTask TakeInAsync(Rig rig, long seq, CountingReceipt receipt) => rig.Inbox.TakeInAsync(
        new("tankwatch/v1/fu-1/supply", System.Text.Encoding.UTF8.GetBytes(SampleSite.Supply(rig.Time.GetUtcNow(), true, seq)), false, rig.Time.GetUtcNow()),
        receipt, CancellationToken.None);

    private void Replace(Rig rig)
    {
        using var other = new Database(new DataOptions { Path = rig.Folder });
        using var restoring = Restoring.Prepare(Backup, rig.Folder);
        restoring.Replace(other);
    }

    private static List<string> Alerts(Rig rig) => rig.Database.Read(c => c.List("SELECT id || state FROM alerts ORDER BY id", row => row.GetString(0)));

    private sealed class CountingReceipt : TankWatch.Service.Ingest.IReceipt
    {
        public int Told { get; private set; }
        public int Given { get; private set; }
        public Action? WhenTold { get; init; }

        public void Durable()
        {
            Told++;
            WhenTold?.Invoke();
        }

        public void Abandoned() => Given++;
    }
}
