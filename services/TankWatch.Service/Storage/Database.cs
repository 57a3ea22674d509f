using System.Collections.Concurrent;
using Microsoft.Data.Sqlite;
using TankWatch.Service.Configuration;

namespace TankWatch.Service.Storage;

/// <summary>The store cannot be used, and why, in one line for a person.</summary>
public sealed class StoreException : Exception
{
    public StoreException() { }
    public StoreException(string message) : base(message) { }
    public StoreException(string message, Exception inner) : base(message, inner) { }
}

/// <summary>
/// One SQLite file for series and ledger, so that what belongs together commits together. Several processes may have it open: a
/// command works while the service runs, so every write is one short transaction that takes the write lock at its start.
/// </summary>
/// <remarks>
/// WAL with <c>synchronous=FULL</c>: a commit has reached the disk when it returns, which is what an acknowledgement promises. Both
/// are read back on every connection, because SQLite answers a refused PRAGMA with silence.
/// </remarks>
public sealed class Database : IDisposable
{
    private const int ReadersKept = 8;
    private static readonly TimeSpan DefaultBusyTimeout = TimeSpan.FromSeconds(10);

    private readonly string connectionString;
    private readonly TimeSpan busyTimeout;
    private readonly Lock writing = new();
    private readonly ConcurrentBag<SqliteConnection> readers = [];
    private SqliteConnection? writer;

    /// <param name="options">The folder; made when missing.</param>
    /// <exception cref="StoreException">The folder or the file cannot be used.</exception>
    public Database(DataOptions options) : this(options.Path, DefaultBusyTimeout) { }

    internal Database(string folder, TimeSpan busyTimeout)
    {
        this.busyTimeout = busyTimeout;
        File = Path.Combine(folder, "tankwatch.db");
        connectionString = new SqliteConnectionStringBuilder
        {
            DataSource = File,
            Pooling = false, // Connections live as long as this object; the file is free once it is disposed.
            ForeignKeys = true,
            DefaultTimeout = Math.Max(1, (int)busyTimeout.TotalSeconds),
        }.ToString();
        try
        {
            Directory.CreateDirectory(folder);
            writer = Open();
            Schema.Bring(writer);
        }
        catch (Exception fault) when (fault is SqliteException or IOException or UnauthorizedAccessException)
        {
            Dispose();
            throw new StoreException($"the store {File} cannot be opened: {OneLine(fault)}", fault);
        }
        catch (StoreException)
        {
            Dispose();
            throw;
        }
    }

    /// <summary>The database file.</summary>
    public string File { get; }

    /// <summary>Runs <paramref name="work"/> in a transaction of its own, which is on disk when this returns.</summary>
    /// <exception cref="SqliteException">Nothing of the work was kept.</exception>
    public T Write<T>(Func<SqliteConnection, T> work)
    {
        lock (writing)
        {
            var connection = writer ??= Open();
            try
            {
                using var transaction = connection.BeginTransaction(deferred: false);
                var result = work(connection);
                transaction.Commit();
                return result;
            }
            catch (SqliteException fault) when (!IsPassing(fault))
            {
                // After an I/O error a connection may go on failing when the disk is well again.
                writer = null;
                connection.Dispose();
                throw;
            }
        }
    }

    public void Write(Action<SqliteConnection> work) => Write(connection =>
    {
        work(connection);
        return true;
    });

    /// <summary>Runs <paramref name="work"/> over one unchanging view of the store, without waiting for writers.</summary>
    public T Read<T>(Func<SqliteConnection, T> work)
    {
        var connection = readers.TryTake(out var kept) ? kept : Open();
        try
        {
            using var transaction = connection.BeginTransaction(deferred: true);
            return work(connection);
        }
        finally
        {
            if (readers.Count < ReadersKept)
            {
                readers.Add(connection);
            }
            else
            {
                connection.Dispose();
            }
        }
    }

    public void Dispose()
    {
        writer?.Dispose();
        writer = null;
        while (readers.TryTake(out var reader))
        {
            reader.Dispose();
        }
    }

    /// <summary>The reason of a store's failure in one line.</summary>
    public static string OneLine(Exception fault) => fault.Message.ReplaceLineEndings(" ").Trim();

    private SqliteConnection Open()
    {
        var connection = new SqliteConnection(connectionString);
        try
        {
            connection.Open();
            connection.Execute($"PRAGMA busy_timeout={(int)busyTimeout.TotalMilliseconds}");
            Demand(connection, "journal_mode", "WAL", "wal");
            Demand(connection, "synchronous", "FULL", "2");
            Demand(connection, "foreign_keys", "ON", "1");
            return connection;
        }
        catch
        {
            connection.Dispose();
            throw;
        }
    }

    private void Demand(SqliteConnection connection, string pragma, string wanted, string shown)
    {
        connection.Execute($"PRAGMA {pragma}={wanted}");
        var actual = Convert.ToString(connection.Scalar($"PRAGMA {pragma}"), System.Globalization.CultureInfo.InvariantCulture);
        if (!string.Equals(actual, shown, StringComparison.OrdinalIgnoreCase))
        {
            throw new StoreException($"the store {File} does not take {pragma}={wanted} (it stays {actual}): its disk cannot promise that nothing is lost");
        }
    }

    private static bool IsPassing(SqliteException fault) =>
        fault.SqliteErrorCode is SQLitePCL.raw.SQLITE_BUSY or SQLitePCL.raw.SQLITE_LOCKED or SQLitePCL.raw.SQLITE_FULL or SQLitePCL.raw.SQLITE_CONSTRAINT;
}
