using System.Collections.Immutable;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;

namespace TankWatch.Service.Storage;

/// <summary>Which alerts to list; what is null does not matter.</summary>
/// <param name="Site">Of this site alone.</param>
/// <param name="State">A name of <see cref="AlertNames"/>, or <c>open</c> for all but normal.</param>
/// <param name="Kind">Of this kind alone.</param>
/// <param name="From">Raised at or after.</param>
/// <param name="To">Raised before.</param>
public sealed record AlertFilter(SiteId? Site, string? State, FindingKind? Kind, DateTimeOffset? From, DateTimeOffset? To);

/// <summary>One event of an alert, as it stands.</summary>
/// <param name="At">Wall clock, UTC.</param>
/// <param name="Type">Its stored name, such as <c>raised</c>.</param>
/// <param name="Json">All of the event.</param>
public sealed record StoredAlertEvent(DateTimeOffset At, string Type, string Json);

/// <summary>An event at its place among those of all alerts.</summary>
/// <param name="Position">Ascending in the order in which events were stored; not without gaps.</param>
/// <param name="Number">Of the event within its alert, from 0.</param>
/// <param name="Happened">The event.</param>
/// <param name="Alert">As it is now, not as it was then.</param>
public sealed record LoggedAlertEvent(long Position, int Number, StoredAlertEvent Happened, Alert Alert);

/// <summary>A part of the log of all alerts.</summary>
/// <param name="Events">In order.</param>
/// <param name="Position">How far the log was looked through; go on after it.</param>
public sealed record AlertLogPart(IReadOnlyList<LoggedAlertEvent> Events, long Position);

public sealed partial class LedgerStore
{
    public Alert? FindAlert(string id) => database.Read(connection => connection.Find("SELECT json FROM alerts WHERE id = ?1", AlertOf, id));

    /// <param name="filter">Which.</param>
    /// <param name="after">The id of an alert to go on from; null for the newest.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>Newest first.</returns>
    public IReadOnlyList<Alert> ListAlerts(AlertFilter filter, string? after, int limit) => database.Read(connection => connection.List(
        $"""
        SELECT json FROM alerts
        WHERE (CASE WHEN ?1 IS NULL THEN site IS NOT '{SiteId.Own}' ELSE site = ?1 END) AND (?2 IS NULL OR state = ?2 OR (?2 = 'open' AND state <> 'normal')) AND (?3 IS NULL OR kind = ?3)
          AND (?4 IS NULL OR raised >= ?4) AND (?5 IS NULL OR raised < ?5) AND (?6 IS NULL OR id < ?6)
        ORDER BY id DESC LIMIT ?7
        """,
        AlertOf, filter.Site, filter.State, filter.Kind is { } kind ? FindingNames.Of(kind) : null, filter.From, filter.To, after, limit));

    /// <returns>Alerts of a site whose condition held at any time of [from, to), by onset.</returns>
    public IReadOnlyList<Alert> ListAlertsDuring(SiteId site, DateTimeOffset from, DateTimeOffset to) => database.Read(connection => connection.List(
        "SELECT json FROM alerts WHERE site = ?1 AND since < ?3 AND (cleared IS NULL OR cleared > ?2) ORDER BY since, id", AlertOf, site, from, to));

    /// <returns>Alerts that another one explains, or last did, by onset.</returns>
    public IReadOnlyList<Alert> ListConsequences(string alert) => database.Read(connection => connection.List(
        "SELECT json FROM alerts WHERE caused_by = ?1 ORDER BY since, id", AlertOf, alert));

    /// <returns>In the order in which they happened.</returns>
    public IReadOnlyList<StoredAlertEvent> ListAlertEvents(string id) => database.Read(connection => connection.List(
        "SELECT at, type, json FROM alert_events WHERE alert = ?1 ORDER BY n", row => new StoredAlertEvent(row.Time(0), row.GetString(1), row.GetString(2)), id));

    /// <summary>The position of the newest event of all alerts; 0 before the first.</summary>
    public long ReadAlertPosition() => database.Read(AlertPosition);

    /// <summary>Events of alerts in the order in which they were stored. Those of alerts that were deleted are gone from it.</summary>
    /// <param name="site">Of this site alone; null for all.</param>
    /// <param name="kind">Of this kind alone; null for all.</param>
    /// <param name="after">A position; 0 for the beginning.</param>
    /// <param name="limit">At most so many.</param>
    public AlertLogPart ReadAlertLog(SiteId? site, FindingKind? kind, long after, int limit) => database.Read(connection =>
    {
        var events = connection.List(
            $"""
            SELECT l.position, l.n, e.at, e.type, e.json, a.json
            FROM alert_log l JOIN alert_events e ON e.alert = l.alert AND e.n = l.n JOIN alerts a ON a.id = l.alert
            WHERE l.position > ?1 AND (CASE WHEN ?2 IS NULL THEN a.site IS NOT '{SiteId.Own}' ELSE a.site = ?2 END) AND (?3 IS NULL OR a.kind = ?3)
            ORDER BY l.position LIMIT ?4
            """,
            row => new LoggedAlertEvent(
                row.GetInt64(0), row.GetInt32(1), new(row.Time(2), row.GetString(3), row.GetString(4)), StoredJson.Read<Alert>(row.GetString(5))),
            after, site, kind is { } only ? FindingNames.Of(only) : null, limit);

        // With fewer than asked for, all of the log was looked through, and the rest of it need not be again. A position ahead of the log
        // is of a store that a backup has replaced.
        return new AlertLogPart(events, events.Count == limit ? events[^1].Position : AlertPosition(connection));
    });

    /// <summary>The alerts that what is known from a time on can still change: those open, and those that ended at or after it.</summary>
    internal ImmutableArray<Alert> ReadAlertsFrom(SiteId site, DateTimeOffset from) => database.Read(connection => connection.List(
        "SELECT json FROM alerts WHERE site IS ?1 AND (state <> 'normal' OR cleared IS NULL OR cleared >= ?2) ORDER BY id",
        AlertOf, site, from).ToImmutableArray());

    /// <summary>What is known of areas, as it was last saved; null if it never was.</summary>
    internal string? ReadAreas() => database.Read(connection => connection.Scalar("SELECT value FROM meta WHERE name = 'areas'") as string);

    internal static void SaveAreas(SqliteConnection connection, string areas) => connection.Execute(
        "INSERT INTO meta (name, value) VALUES ('areas', ?1) ON CONFLICT (name) DO UPDATE SET value = ?1", areas);

    /// <summary>Deletes a site's alerts that were over before a time, with their events and letters.</summary>
    internal void DeleteAlertsBefore(SiteId site, DateTimeOffset time) => database.Write(connection => connection.Execute(
        "DELETE FROM alerts WHERE site = ?1 AND state = 'normal' AND cleared < ?2", site, time));

    /// <summary>Appends events and saves the alerts they make; call it within <see cref="Database.Write{T}"/>.</summary>
    /// <param name="connection">In a transaction.</param>
    /// <param name="alerts">As they are after the events.</param>
    /// <param name="events">In the order in which they happened.</param>
    internal static void Append(SqliteConnection connection, IEnumerable<Alert> alerts, IEnumerable<AlertEvent> events)
    {
        var ofAlert = events.ToLookup(happened => happened.AlertId);
        foreach (var alert in alerts.Where(alert => ofAlert.Contains(alert.Id)))
        {
            Save(connection, alert);
            var n = alert.Events - ofAlert[alert.Id].Count();
            foreach (var happened in ofAlert[alert.Id])
            {
                // The number is the key: the same event cannot be appended twice, whatever went wrong before.
                connection.Execute(
                    "INSERT INTO alert_events (alert, n, at, type, json) VALUES (?1, ?2, ?3, ?4, ?5)",
                    alert.Id, n, happened.At, StoredJson.NameOf(happened), StoredJson.Write(happened));
                connection.Execute("INSERT INTO alert_log (alert, n) VALUES (?1, ?2)", alert.Id, n++);
            }
        }
    }

    /// <summary>Of the last event ever, also when it was deleted since.</summary>
    private static long AlertPosition(SqliteConnection connection) =>
        connection.Scalar("SELECT seq FROM sqlite_sequence WHERE name = 'alert_log'") as long? ?? 0;

    private static void Save(SqliteConnection connection, Alert alert) => connection.Execute(
        """
        INSERT INTO alerts (id, site, device, kind, state, since, raised, cleared, caused_by, json) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)
        ON CONFLICT (id) DO UPDATE SET device = ?3, kind = ?4, state = ?5, since = ?6, raised = ?7, cleared = ?8, caused_by = ?9, json = ?10
        """,
        alert.Id, alert.Site, alert.Finding.Device, FindingNames.Of(alert.Finding.Kind), AlertNames.Of(alert.State),
        alert.Finding.Since, alert.Finding.RaisedAt, alert.Finding.ClearedAt, alert.CausedBy, StoredJson.Write(alert));

    private static Alert AlertOf(SqliteDataReader row) => StoredJson.Read<Alert>(row.GetString(0));
}
