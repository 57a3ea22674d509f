using Microsoft.Data.Sqlite;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

public sealed class DatabaseTests
{
    [Fact]
    public async Task Every_connection_writes_ahead_and_waits_for_the_disk()
    {
        await using var rig = Rig.New();
        string Pragmas(SqliteConnection c) => $"{c.Scalar("PRAGMA journal_mode")} {c.Scalar("PRAGMA synchronous")} {c.Scalar("PRAGMA foreign_keys")}";
        Assert.Equal("wal 2 1", rig.Database.Write(Pragmas));
        Assert.Equal("wal 2 1", rig.Database.Read(Pragmas));
    }

    [Fact]
    public void A_file_that_is_no_store_is_refused_in_one_line()
    {
        var folder = Directory.CreateTempSubdirectory("tankwatch-").FullName;
        File.WriteAllText(Path.Combine(folder, "tankwatch.db"), new string('x', 5000));
        var fault = Assert.Throws<StoreException>(() => new Database(new DataOptions { Path = folder }));
        Assert.DoesNotContain('\n', fault.Message);
        Assert.Contains("tankwatch.db", fault.Message, StringComparison.Ordinal);
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task A_store_of_a_newer_program_is_left_alone()
    {
        await using var rig = Rig.New();
        rig.Database.Write(c => c.Execute("PRAGMA user_version=99"));
        var fault = Assert.Throws<StoreException>(() => new Database(new DataOptions { Path = rig.Folder }));
        Assert.Contains("newer version", fault.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Nothing_of_a_failed_transaction_stays()
    {
        await using var rig = Rig.New();
        Assert.Throws<SqliteException>(() => rig.Database.Write(c =>
        {
            c.Execute("INSERT INTO meta (name, value) VALUES ('half', 'done')");
            return c.Execute("INSERT INTO meta (name, value) VALUES ('half', 'again')");
        }));
        Assert.Null(rig.Database.Read(c => c.Scalar("SELECT value FROM meta WHERE name = 'half'")));
        rig.Database.Write(c => c.Execute("INSERT INTO meta (name, value) VALUES ('whole', 'done')"));
    }

    [Fact]
    public async Task A_full_disk_fails_the_write_and_the_store_serves_on_when_there_is_room()
    {
        await using var rig = Rig.New();
        var pages = rig.Database.Write(c => (long)c.Scalar("PRAGMA page_count")!);
        rig.Database.Write(c => c.Execute($"PRAGMA max_page_count={pages}"));
        object Fill(SqliteConnection c) => c.Execute("INSERT INTO meta (name, value) VALUES ('big', ?1)", new string('x', 100_000));
        Assert.Equal(SQLitePCL.raw.SQLITE_FULL, Assert.Throws<SqliteException>(() => rig.Database.Write(Fill)).SqliteErrorCode);
        rig.Database.Write(c => c.Execute("PRAGMA max_page_count=1000000"));
        rig.Database.Write(Fill);
    }

    [Fact]
    public async Task Two_processes_write_in_turn_and_see_each_other()
    {
        await using var rig = Rig.New();
        using var other = new Database(new DataOptions { Path = rig.Folder });
        await Task.WhenAll(Enumerable.Range(0, 2).Select(who => Task.Run(() =>
        {
            for (var i = 0; i < 50; i++)
            {
                (who == 0 ? rig.Database : other).Write(c => c.Execute("INSERT INTO meta (name, value) VALUES (?1, '')", $"{who}-{i}"));
            }
        }, TestContext.Current.CancellationToken)));
        Assert.Equal(100L, rig.Database.Read(c => c.Scalar("SELECT count(*) FROM meta WHERE name <> 'generation'")));
    }
}
