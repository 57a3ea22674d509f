using System.Globalization;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Timelines;

namespace TankWatch.Service.Storage;

/// <summary>What the judgement made of the rows: runs, and the figures of days, which are kept for ever.</summary>
public sealed partial class SeriesStore
{
    /// <returns>Runs that touch [from, to), in order.</returns>
    public IReadOnlyList<PumpRun> ListRuns(SiteId site, DateTimeOffset from, DateTimeOffset to) => database.Read(connection => connection.List(
        "SELECT json FROM runs WHERE site = ?1 AND started < ?3 AND (stopped IS NULL OR stopped > ?2 OR started >= ?2) ORDER BY started, pump",
        row => StoredJson.Read<PumpRun>(row.GetString(0)), site, from, to));

    /// <param name="site">Whose.</param>
    /// <param name="after">The last run of the part before; null for the first part.</param>
    /// <param name="from">Runs that touch [from, to).</param>
    /// <param name="to">As above.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>A part of the runs, in order.</returns>
    internal IReadOnlyList<PumpRun> ListRunsAfter(SiteId site, PumpRun? after, DateTimeOffset from, DateTimeOffset to, int limit) =>
        database.Read(connection => connection.List(
            """
            SELECT json FROM runs WHERE site = ?1 AND (started, pump) > (?4, ?5) AND started < ?3 AND (stopped IS NULL OR stopped > ?2 OR started >= ?2)
            ORDER BY started, pump LIMIT ?6
            """,
            row => StoredJson.Read<PumpRun>(row.GetString(0)), site, from, to, after?.StartedAt ?? DateTimeOffset.MinValue, after?.Pump.Value ?? "", limit));

    /// <returns>The newest runs of a pump, newest first.</returns>
    public IReadOnlyList<PumpRun> ListLastRuns(SiteId site, DeviceId pump, int limit) => database.Read(connection => connection.List(
        "SELECT json FROM runs WHERE site = ?1 AND pump = ?2 ORDER BY started DESC LIMIT ?3", row => StoredJson.Read<PumpRun>(row.GetString(0)), site, pump, limit));

    /// <returns>Figures of the local days from <paramref name="from"/> to <paramref name="to"/>, both included, in order.</returns>
    public IReadOnlyList<SiteDay> ListDays(SiteId site, DateOnly from, DateOnly to) => database.Read(connection => connection.List(
        "SELECT json FROM days WHERE site = ?1 AND date BETWEEN ?2 AND ?3 ORDER BY date",
        row => StoredJson.Read<SiteDay>(row.GetString(0)), site, Stored(from), Stored(to)));

    /// <summary>Replaces what is known of runs and days; call it within <see cref="Database.Write{T}"/>.</summary>
    internal static void Replace(SqliteConnection connection, SiteId site, DateTimeOffset? runsAfter, IEnumerable<PumpRun> runs, IEnumerable<SiteDay> days)
    {
        if (runsAfter is { } after)
        {
            connection.Execute("DELETE FROM runs WHERE site = ?1 AND (stopped IS NULL OR stopped > ?2)", site, after);
        }

        foreach (var run in runs)
        {
            connection.Execute(
                "INSERT OR REPLACE INTO runs (site, pump, started, stopped, json) VALUES (?1, ?2, ?3, ?4, ?5)",
                site, run.Pump, run.StartedAt, run.StoppedAt, StoredJson.Write(run));
        }

        foreach (var day in days)
        {
            connection.Execute("INSERT OR REPLACE INTO days (site, date, json) VALUES (?1, ?2, ?3)", site, Stored(day.Date), StoredJson.Write(day));
        }
    }

    internal static string Stored(DateOnly date) => date.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture);
}
