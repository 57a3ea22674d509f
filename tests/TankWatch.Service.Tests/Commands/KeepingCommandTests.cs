using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Storage.Keeping;
using Xunit;

namespace TankWatch.Service.Tests.Commands;

/// <summary><c>backup</c>, <c>restore</c> and <c>verify</c>, on the store of a service that runs.</summary>
public sealed class KeepingCommandTests : IDisposable
{
    private readonly Shell shell = new();

    private string Backup => Path.Combine(shell.Folder, "backup.db");

    public void Dispose() => shell.Dispose();

    [Fact]
    public async Task A_backup_of_a_running_service_is_whole_private_and_alone_in_its_folder()
    {
        await using var rig = await LivedStore.RunningAsync();
        var line = Assert.Single((await Shell.RunAsync("backup", Backup, "--data", rig.Folder)).Succeeded().OutLines);
        Assert.Contains("44 messages, 1 site, in ", line, StringComparison.Ordinal);
        Assert.Equal([Backup], Directory.GetFileSystemEntries(shell.Folder));
        Assert.True(OperatingSystem.IsWindows() || File.GetUnixFileMode(Backup) == (UnixFileMode.UserRead | UnixFileMode.UserWrite));
        Assert.StartsWith("no fault. 44 messages", (await Shell.RunAsync("verify", "--data", rig.Folder)).Succeeded().Out, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_backup_replaces_an_older_one_and_a_failed_one_leaves_it()
    {
        await using var rig = await LivedStore.RunningAsync();
        (await Shell.RunAsync("backup", Backup, "--data", rig.Folder)).Succeeded();
        var older = await File.ReadAllBytesAsync(Backup, TestContext.Current.CancellationToken);
        await LivedStore.FillAsync(rig, 5000, TimeSpan.FromMinutes(1));
        (await Shell.RunAsync("backup", Backup, "--data", rig.Folder)).Succeeded();
        var newer = await File.ReadAllBytesAsync(Backup, TestContext.Current.CancellationToken);
        Assert.NotEqual(older, newer);

        rig.Database.Write(c => c.Execute("UPDATE blocks SET data = CAST(substr(data, 1, 20) || x'00' || substr(data, 22) AS BLOB)"));
        var failed = await Shell.RunAsync("backup", Backup, "--data", rig.Folder);
        Assert.Equal((1, ""), (failed.Exit, failed.Out));
        Assert.Contains("checksum", Assert.Single(failed.ErrorLines), StringComparison.Ordinal);
        Assert.Equal(newer, await File.ReadAllBytesAsync(Backup, TestContext.Current.CancellationToken));
        Assert.Equal([Backup], Directory.GetFileSystemEntries(shell.Folder));
    }

    [Fact]
    public async Task Where_no_backup_can_be_written_is_said_in_one_line()
    {
        await using var rig = Rig.New();
        Task<Ran> To(string file) => Shell.RunAsync("backup", file, "--data", rig.Folder);
        (await To(shell.Folder)).RefusedInOneLine("folder");
        (await To(Path.Combine(shell.Folder, "missing", "backup.db"))).RefusedInOneLine("folder does not exist");
        (await To(Path.Combine(rig.Folder, "tankwatch.db"))).RefusedInOneLine("the store itself");
        (await To(Path.Combine(rig.Folder, "tankwatch.db-wal"))).RefusedInOneLine("the store itself");
        File.CreateSymbolicLink(Path.Combine(shell.Folder, "link"), rig.Folder);
        (await To(Path.Combine(shell.Folder, "link", "tankwatch.db"))).RefusedInOneLine("the store itself");
        (await To(shell.Write("thesis.txt", "twenty years of work"))).RefusedInOneLine("another kind");
        (await To("a\0b")).RefusedInOneLine("not a file name");
        (await Shell.RunAsync("backup", Backup, "--data", shell.Folder)).RefusedInOneLine("no store");
        Assert.False(File.Exists(Backup));
    }

    [Fact]
    public async Task A_folder_that_may_not_be_written_is_said_in_one_line()
    {
        await using var rig = Rig.New();
        var closed = Directory.CreateDirectory(Path.Combine(shell.Folder, "closed")).FullName;
        Assert.SkipWhen(Environment.IsPrivilegedProcess, "root may write everywhere");
        if (!OperatingSystem.IsWindows())
        {
            File.SetUnixFileMode(closed, UnixFileMode.UserRead | UnixFileMode.UserExecute);
        }

        (await Shell.RunAsync("backup", Path.Combine(closed, "backup.db"), "--data", rig.Folder)).RefusedInOneLine("denied");
    }

    [Fact]
    public async Task A_full_disk_leaves_the_older_backup_and_says_so()
    {
        using var small = SmallDisk.TryMount();
        Assert.SkipWhen(small is null, "this user may mount no small file system");
        await using var rig = await LivedStore.RunningAsync();
        rig.Database.Write(c => c.Execute("INSERT INTO meta VALUES ('big', hex(zeroblob(2000000)))"));
        var target = Path.Combine(small.Folder, "backup.db");
        await File.WriteAllBytesAsync(target, [.. "SQLite format 3\0"u8], TestContext.Current.CancellationToken);
        var ran = await Shell.RunAsync("backup", target, "--data", rig.Folder);
        Assert.Equal((1, ""), (ran.Exit, ran.Out));
        Assert.Contains("no room", Assert.Single(ran.ErrorLines), StringComparison.Ordinal);
        Assert.Equal([target], Directory.GetFileSystemEntries(small.Folder));
        Assert.Equal(16, new FileInfo(target).Length);
    }

    [Fact]
    public async Task What_is_no_sound_backup_is_not_restored_and_nothing_changes()
    {
        await using var rig = await LivedStore.RunningAsync();
        (await Shell.RunAsync("backup", Backup, "--data", rig.Folder)).Succeeded();
        Task<Ran> From(string file) => Shell.RunAsync("restore", file, "--data", rig.Folder);
        (await From(Path.Combine(shell.Folder, "missing.db"))).RefusedInOneLine("does not exist");
        (await From(shell.Folder)).RefusedInOneLine("folder");
        (await From(shell.Write("thesis.txt", "twenty years of work"))).RefusedInOneLine("no backup of this program");
        (await From(Changed("empty.db", c => c.Execute("DROP TABLE outbox")))).RefusedInOneLine("no backup of this program");
        (await From(Changed("newer.db", c => c.Execute("PRAGMA user_version=99")))).RefusedInOneLine("newer version");
        (await From(Changed("trigger.db", c => c.Execute("CREATE TRIGGER t AFTER INSERT ON meta BEGIN DELETE FROM alerts; END")))).RefusedInOneLine("tables");
        (await From(Changed("block.db", c => c.Execute("UPDATE blocks SET data = CAST(substr(data, 1, 20) || x'00' || substr(data, 22) AS BLOB)")))).RefusedInOneLine("checksum");
        (await From(Changed("lost.db", c => c.Execute("DELETE FROM blocks")))).RefusedInOneLine("are counted and");
        var cut = await File.ReadAllBytesAsync(Backup, TestContext.Current.CancellationToken);
        await File.WriteAllBytesAsync(Path.Combine(shell.Folder, "cut.db"), cut[..(cut.Length / 2)], TestContext.Current.CancellationToken);
        (await From(Path.Combine(shell.Folder, "cut.db"))).RefusedInOneLine("cut.db");
        Assert.False(rig.Database.IsReplaced());
        Assert.Empty(Directory.GetFiles(rig.Folder, "*.part*"));
    }

    [Fact]
    public async Task Without_a_service_a_backup_comes_back_into_an_empty_folder()
    {
        await using var rig = await LivedStore.RunningAsync();
        (await Shell.RunAsync("backup", Backup, "--data", rig.Folder)).Succeeded();
        var ran = await shell.OnStoreAsync("restore", Backup);
        Assert.Equal(0, ran.Exit);
        Assert.Contains("44 messages, 1 site", ran.Out, StringComparison.Ordinal);
        Assert.Contains("is gone", Assert.Single(ran.ErrorLines), StringComparison.Ordinal);
        Assert.StartsWith("no fault. 44 messages", (await shell.OnStoreAsync("verify")).Succeeded().Out, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_damaged_store_fails_its_verification_with_each_fault_on_a_line()
    {
        await using var rig = await LivedStore.RunningAsync();
        rig.Database.Write(c => c.Execute("DELETE FROM runs WHERE started = (SELECT min(started) FROM runs); DELETE FROM alert_log"));
        var ran = await Shell.RunAsync("verify", "--data", rig.Folder);
        Assert.Equal(1, ran.Exit);
        Assert.All(ran.OutLines, line => Assert.StartsWith("fault: ", line, StringComparison.Ordinal));
        Assert.StartsWith($"{ran.OutLines.Length} faults in the store.", Assert.Single(ran.ErrorLines), StringComparison.Ordinal);
        (await Shell.RunAsync("verify", "--data", shell.Folder)).RefusedInOneLine("no store");
    }

    private string Changed(string name, Action<Microsoft.Data.Sqlite.SqliteConnection> change)
    {
        var file = Path.Combine(shell.Folder, name);
        File.Copy(Backup, file);
        using var connection = new Microsoft.Data.Sqlite.SqliteConnection($"Data Source={file};Pooling=False");
        connection.Open();
        change(connection);
        return file;
    }
}
