using System.Collections.Concurrent;
using System.Security.Cryptography;
using Microsoft.Data.Sqlite;
using TankWatch.Service.Configuration;

namespace TankWatch.Service.Storage;

/// <summary>The store cannot be used, and why, in one line for a person.</summary>
public class StoreException : Exception
{
    public StoreException() { }
    public StoreException(string message) : base(message) { }
    public StoreException(string message, Exception inner) : base(message, inner) { }
}

/// <summary>Another process put a backup in the place of the store: what is in memory is of a store that is no more.</summary>
public sealed class StoreReplacedException : StoreException
{
    public StoreReplacedException() : base("the store was replaced by a backup; the service takes that over within a second or so") { }
    public StoreReplacedException(string message) : base(message) { }
    public StoreReplacedException(string message, Exception inner) : base(message, inner) { }
}

/// <summary>
/// One SQLite file for series and ledger, so that what belongs together commits together. Several processes may have it open: a
/// command works while the service runs, so every write is one short transaction that takes the write lock at its start.
/// </summary>
/// <remarks>
/// WAL with <c>synchronous=FULL</c>: a commit has reached the disk when it returns, which is what an acknowledgement promises. Both
/// are read back on every connection, because SQLite answers a refused PRAGMA with silence.
///
/// A restore replaces the content while others have the file open, and gives it another <c>generation</c>. Whoever still means the
/// content from before can read, and not write, until <see cref="TakeOver"/>.
/// </remarks>
public sealed class Database : IDisposable
{
    /// <summary>Of the file within the store's folder.</summary>
    public const string FileName = "tankwatch.db";

    private const int ReadersKept = 8;
    private const string Generation = "SELECT value FROM meta WHERE name = 'generation'";
    private static readonly TimeSpan DefaultBusyTimeout = TimeSpan.FromSeconds(10);

    private readonly string connectionString;
    private readonly TimeSpan busyTimeout;
    private readonly Lock writing = new();
    private readonly ConcurrentBag<SqliteConnection> readers = [];
    private readonly ThreadLocal<SqliteConnection?> reading = new();
    private SqliteConnection? writer;
    private string generation = "";

    /// <param name="options">The folder; made when missing.</param>
    /// <exception cref="StoreException">The folder or the file cannot be used.</exception>
    public Database(DataOptions options) : this(options.Path, DefaultBusyTimeout) { }

    internal Database(string folder, TimeSpan busyTimeout)
    {
        this.busyTimeout = busyTimeout;
        File = Path.Combine(folder, FileName);
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
            MakePrivate(File);
            writer = Open();
            Schema.Bring(writer);
            generation = (string?)writer.Scalar(Generation) ?? Begin(writer);
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
    /// <exception cref="StoreReplacedException">Nothing of the work was done: the store is another one since it was opened.</exception>
    public T Write<T>(Func<SqliteConnection, T> work)
    {
        lock (writing)
        {
            var connection = writer ??= Open();
            try
            {
                using var transaction = connection.BeginTransaction(deferred: false);
                if (!string.Equals(connection.Scalar(Generation) as string, Volatile.Read(ref generation), StringComparison.Ordinal))
                {
                    throw new StoreReplacedException();
                }

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
    /// <remarks>What is read within the work, on the same thread, is of the same view.</remarks>
    public T Read<T>(Func<SqliteConnection, T> work)
    {
        if (reading.Value is { } outer)
        {
            return work(outer);
        }

        var connection = readers.TryTake(out var kept) ? kept : Open();
        try
        {
            using var transaction = connection.BeginTransaction(deferred: true);
            reading.Value = connection;
            return work(connection);
        }
        finally
        {
            reading.Value = null;
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

    /// <summary>Runs <paramref name="work"/> on a connection of its own, outside of any transaction.</summary>
    internal T Alone<T>(Func<SqliteConnection, T> work)
    {
        using var connection = Open();
        return work(connection);
    }

    /// <summary>Whether the content is another one than this object means: nothing can be written until <see cref="TakeOver"/>.</summary>
    internal bool IsReplaced() => !string.Equals(ReadGeneration(), Volatile.Read(ref generation), StringComparison.Ordinal);

    /// <summary>From now on the content is meant that is there now. What was in memory of the one before must not be written any more.</summary>
    internal void TakeOver() => Volatile.Write(ref generation, ReadGeneration() ?? "");

    /// <summary>Makes the content another one than any before; call it within a transaction, or on a store that nobody else has open.</summary>
    internal static string Begin(SqliteConnection connection, bool anew = false)
    {
        connection.Execute(
            $"INSERT OR {(anew ? "REPLACE" : "IGNORE")} INTO meta (name, value) VALUES ('generation', ?1)",
            Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(16)));
        return (string)connection.Scalar(Generation)!;
    }

    private string? ReadGeneration() => Read(connection => connection.Scalar(Generation) as string);

    public void Dispose()
    {
        reading.Dispose();
        writer?.Dispose();
        writer = null;
        while (readers.TryTake(out var reader))
        {
            reader.Dispose();
        }
    }

    /// <summary>The reason of a store's failure in one line.</summary>
    public static string OneLine(Exception fault) => fault.Message.ReplaceLineEndings(" ").Trim();

    /// <summary>It holds addresses of people, and secrets that sign. The files beside it get the mode of this one.</summary>
    private static void MakePrivate(string file)
    {
        try
        {
            if (!System.IO.File.Exists(file))
            {
                Keeping.DurableFile.CreatePrivate(file);
            }
        }
        catch (IOException) when (System.IO.File.Exists(file))
        {
            // Another process was quicker.
        }
    }

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
