using Microsoft.Data.Sqlite;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>What a store's file holds.</summary>
/// <param name="Messages">Accepted ones.</param>
/// <param name="Sites">Site files.</param>
internal sealed record FileContents(long Messages, long Sites);

/// <summary>Checks a store by its file alone: what SQLite finds, and every checksum. Runs and days are not judged again.</summary>
internal static class FileCheck
{
    private const int MostLines = 100;

    /// <param name="connection">To a file that nobody changes.</param>
    /// <param name="fault">Is told each fault in one line.</param>
    public static FileContents Run(SqliteConnection connection, Action<string> fault)
    {
        AskSqlite(connection, fault);
        var check = new SeriesCheck(connection, fault);
        var journal = check.ReadJournal();
        check.CheckOwners();
        var messages = check.Units().Sum(unit => check.CheckUnit(unit, journal));
        return new(messages, (long)connection.Scalar("SELECT count(*) FROM sites")!);
    }

    public static void AskSqlite(SqliteConnection connection, Action<string> fault)
    {
        foreach (var line in connection.List($"PRAGMA quick_check({MostLines})", row => row.GetString(0)).Where(line => line != "ok"))
        {
            fault($"the file: {line.ReplaceLineEndings(" ")}");
        }
    }
}
