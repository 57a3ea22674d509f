using System.Text;
using Microsoft.Data.Sqlite;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>A backup that was made.</summary>
/// <param name="Bytes">Of its file.</param>
/// <param name="Contents">What it holds.</param>
internal sealed record BackupMade(long Bytes, FileContents Contents);

/// <summary>Makes a consistent copy of a store, as one file, while others go on writing.</summary>
internal static class BackupFile
{
    private static readonly string[] StoreFiles = ["", "-wal", "-shm", "-journal"];

    /// <summary>Copies beside the target, checks the copy, and puts it in the target's place in one step: what is there is whole at any moment.</summary>
    /// <param name="database">The store.</param>
    /// <param name="target">A full path, for which <see cref="WhyNot"/> is null.</param>
    /// <param name="stop">Gives up; the target stays as it was.</param>
    /// <exception cref="StoreException">The copy could not be made or is not sound; the target stays as it was.</exception>
    /// <exception cref="IOException">The file cannot be written; the target stays as it was.</exception>
    /// <exception cref="UnauthorizedAccessException">As above.</exception>
    public static BackupMade Make(Database database, string target, CancellationToken stop)
    {
        var part = $"{target}.{Path.GetRandomFileName()}.part";
        try
        {
            DurableFile.CreatePrivate(part);
            Copy(database, part, stop);
            DurableFile.Flush(part);
            var contents = Check(part);
            stop.ThrowIfCancellationRequested();
            var bytes = new FileInfo(part).Length;
            DurableFile.Replace(part, target);
            return new(bytes, contents);
        }
        finally
        {
            DurableFile.DeleteDatabase(part);
        }
    }

    /// <summary>What speaks against writing a backup to a file, in one line; null for nothing.</summary>
    /// <param name="database">The store.</param>
    /// <param name="target">A full path.</param>
    /// <exception cref="IOException">The file cannot be looked at.</exception>
    /// <exception cref="UnauthorizedAccessException">As above.</exception>
    public static string? WhyNot(Database database, string target)
    {
        var folder = Path.GetDirectoryName(target);
        if (Directory.Exists(target) || Path.EndsInDirectorySeparator(target) || folder is null)
        {
            return "that is a folder";
        }

        if (!Directory.Exists(folder))
        {
            return "its folder does not exist";
        }

        var real = Path.Combine(RealPath(folder), Path.GetFileName(target));
        var store = Path.Combine(RealPath(Path.GetDirectoryName(Path.GetFullPath(database.File))!), Path.GetFileName(database.File));
        if (Array.Exists(StoreFiles, suffix => real == store + suffix))
        {
            return "that is the store itself";
        }

        return new FileInfo(target) is { Exists: true, Length: > 0 } && !IsSqlite(target) ? "a file of another kind is there" : null;
    }

    private static void Copy(Database database, string part, CancellationToken stop)
    {
        try
        {
            database.Alone(connection =>
            {
                using var interrupt = stop.Register(() => SQLitePCL.raw.sqlite3_interrupt(connection.Handle));
                return connection.Execute("VACUUM INTO ?1", part);
            });
        }
        catch (SqliteException) when (stop.IsCancellationRequested)
        {
            throw new OperationCanceledException(stop);
        }
        catch (SqliteException fault)
        {
            throw new StoreException(
                fault.SqliteErrorCode == SQLitePCL.raw.SQLITE_FULL ? "there is no room for it" : $"the store cannot be copied: {Database.OneLine(fault)}", fault);
        }
    }

    /// <exception cref="StoreException">The copy has a fault.</exception>
    private static FileContents Check(string part)
    {
        using var connection = new SqliteConnection(
            new SqliteConnectionStringBuilder { DataSource = part, Pooling = false, Mode = SqliteOpenMode.ReadOnly }.ToString());
        try
        {
            connection.Open();
            return FileCheck.Run(connection, fault => throw new StoreException($"the copy is not sound, as the store may not be ('verify' says more): {fault}"));
        }
        catch (SqliteException fault)
        {
            throw new StoreException($"the copy is not sound: {Database.OneLine(fault)}", fault);
        }
    }

    /// <summary>Whether a file begins as those of SQLite do.</summary>
    internal static bool IsSqlite(string file)
    {
        var head = new byte[16];
        using var stream = File.OpenRead(file);
        return stream.ReadAtLeast(head, head.Length, throwOnEndOfStream: false) == head.Length && head.AsSpan().SequenceEqual(Encoding.ASCII.GetBytes("SQLite format 3\0"));
    }

    /// <summary>A folder without the links on the way to it.</summary>
    private static string RealPath(string folder)
    {
        var real = Path.GetPathRoot(folder)!;
        foreach (var name in folder[real.Length..].Split(Path.DirectorySeparatorChar, StringSplitOptions.RemoveEmptyEntries))
        {
            real = Path.Combine(real, name);
            real = new DirectoryInfo(real).ResolveLinkTarget(returnFinalTarget: true) is { } link ? RealPath(link.FullName) : real;
        }

        return real;
    }
}
