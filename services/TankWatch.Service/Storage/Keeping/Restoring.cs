using Microsoft.Data.Sqlite;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>A file of somebody's is no backup that can be restored, and why, in one line.</summary>
public sealed class NoBackupException : Exception
{
    public NoBackupException() { }
    public NoBackupException(string message) : base(message) { }
    public NoBackupException(string message, Exception inner) : base(message, inner) { }
}

/// <summary>
/// A backup on its way into a store: copied beside it, brought to the present form, and checked, before anything is replaced. Dispose
/// takes the copy away.
/// </summary>
/// <remarks>
/// All of the store is replaced in one transaction, so that a service which has it open sees either the one or the other, and a power cut
/// leaves the old one. The copy is what is checked: the file itself could change meanwhile.
/// </remarks>
internal sealed class Restoring : IDisposable
{
    private const int MostFaults = 20;

    private readonly string copy;

    private Restoring(string copy, FileContents contents) => (this.copy, Contents) = (copy, contents);

    /// <summary>What the backup holds.</summary>
    public FileContents Contents { get; }

    /// <param name="file">The backup.</param>
    /// <param name="folder">The store's, where the copy finds room or not.</param>
    /// <exception cref="NoBackupException">It is none, is damaged, or is of a newer version.</exception>
    /// <exception cref="IOException">It cannot be read, or the copy cannot be made.</exception>
    /// <exception cref="UnauthorizedAccessException">As above.</exception>
    public static Restoring Prepare(string file, string folder)
    {
        if (!BackupFile.IsSqlite(file))
        {
            throw new NoBackupException("it is no backup of this program");
        }

        var copy = Path.Combine(folder, $"restore.{Path.GetRandomFileName()}.part");
        try
        {
            DurableFile.CreatePrivate(copy);
            using var connection = Open(copy, SqliteOpenMode.ReadWrite);
            using (var source = Open(file, SqliteOpenMode.ReadOnly))
            {
                Recognise(source);
                source.BackupDatabase(connection);
            }

            return new(copy, Check(connection));
        }
        catch (Exception fault)
        {
            DurableFile.DeleteDatabase(copy);
            if (fault is SqliteException or StoreException)
            {
                throw new NoBackupException(
                    fault is SqliteException { SqliteErrorCode: SQLitePCL.raw.SQLITE_FULL } ? "there is no room for its copy beside the store" : Database.OneLine(fault), fault);
            }

            throw;
        }
    }

    /// <summary>Puts the backup in the place of all that the store holds.</summary>
    /// <exception cref="SqliteException">Nothing was changed.</exception>
    public void Replace(Database database)
    {
        using var connection = Open(copy, SqliteOpenMode.ReadOnly);
        database.Alone(live =>
        {
            connection.BackupDatabase(live);
            try
            {
                live.Execute("PRAGMA wal_checkpoint(TRUNCATE)");
            }
            catch (SqliteException)
            {
                // Somebody reads; it only takes room until they and the next checkpoint are done.
            }

            return true;
        });
    }

    public void Dispose() => DurableFile.DeleteDatabase(copy);

    /// <summary>Cheap, and before the copying: a big file of another kind is not worth it.</summary>
    private static void Recognise(SqliteConnection source)
    {
        if (source.Scalar("SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name IN ('meta', 'sites', 'units', 'alerts', 'outbox')") is not 5L)
        {
            throw new NoBackupException("it is no backup of this program");
        }
    }

    private static FileContents Check(SqliteConnection copied)
    {
        copied.Execute("PRAGMA trusted_schema=OFF");
        copied.Execute("PRAGMA journal_mode=DELETE");
        Schema.Bring(copied);
        if (Shape(copied) is var shape && !shape.SequenceEqual(Expected()))
        {
            throw new NoBackupException("its tables are not those of this program");
        }

        var faults = new List<string>();
        var contents = FileCheck.Run(copied, fault =>
        {
            faults.Add(fault);
            if (faults.Count >= MostFaults)
            {
                throw new NoBackupException($"it is damaged: {faults[0]}, and more");
            }
        });
        if (faults.Count > 0)
        {
            throw new NoBackupException($"it is damaged: {faults[0]}{(faults.Count > 1 ? $", and {faults.Count - 1} more" : "")}");
        }

        Database.Begin(copied, anew: true);
        return contents;
    }

    private static List<string> Expected()
    {
        using var fresh = new SqliteConnection("Data Source=:memory:");
        fresh.Open();
        Schema.Bring(fresh);
        return Shape(fresh);
    }

    /// <summary>A trigger or a view that somebody put into the file would run in the service.</summary>
    private static List<string> Shape(SqliteConnection connection) =>
        connection.List("SELECT type || ' ' || name || ' ' || coalesce(sql, '') FROM sqlite_master ORDER BY 1", row => row.GetString(0));

    private static SqliteConnection Open(string file, SqliteOpenMode mode)
    {
        var connection = new SqliteConnection(new SqliteConnectionStringBuilder { DataSource = file, Pooling = false, Mode = mode, ForeignKeys = true }.ToString());
        try
        {
            connection.Open();
            return connection;
        }
        catch
        {
            connection.Dispose();
            throw;
        }
    }
}
