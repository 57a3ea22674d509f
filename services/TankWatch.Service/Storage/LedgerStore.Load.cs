using System.Globalization;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Alerts.Load;

namespace TankWatch.Service.Storage;

/// <summary>That people were told, and who of them.</summary>
/// <param name="Told">Of what.</param>
/// <param name="Letters">What of it went out; none for what stood on pages alone.</param>
public sealed record AddressedAnnunciation(Annunciation Told, IReadOnlyList<ToldPerson> Letters);

/// <summary>That a letter went to somebody.</summary>
/// <param name="Address">To whom.</param>
/// <param name="At">When, UTC; the end of their quiet hours, if it had to wait for that.</param>
public sealed record ToldPerson(string Address, DateTimeOffset At);

public sealed partial class LedgerStore
{
    /// <summary>What people were told from a time to another, and what they had been told before that still stood then.</summary>
    /// <param name="site">Of this site alone; null for all.</param>
    /// <param name="from">UTC.</param>
    /// <param name="to">UTC, excluded.</param>
    public IReadOnlyList<AddressedAnnunciation> ListAnnunciations(SiteId? site, DateTimeOffset from, DateTimeOffset to) => database.Read(connection =>
    {
        var letters = connection.List(
            $"SELECT key, recipient, created, json_extract(json, '$.notification.notBefore') FROM outbox WHERE created >= ?1 AND created < ?2 AND reason <> 'cleared' AND recipient <> '{Own.OwnSite.Address}'",
            row => (Event: EventOf(row.GetString(0)), Person: new ToldPerson(row.GetString(1), row.TextOrNull(3) is { } later ? DateTimeOffset.Parse(later, CultureInfo.InvariantCulture) : row.Time(2))),
            from, to).ToLookup(letter => letter.Event, letter => letter.Person);
        var events = connection.List(
            $"""
            SELECT e.alert, e.n, e.json FROM alert_events e JOIN alerts a ON a.id = e.alert
            WHERE (CASE WHEN ?1 IS NULL THEN a.site IS NOT '{SiteId.Own}' ELSE a.site = ?1 END)
              AND e.type IN ('raised', 'reraised', 'returned', 'corrected', 'reworded', 'notified', 'closed', 'shelved', 'unshelved', 'taken-out-of-service', 'returned-to-service',
                'suppressed', 'released')
              AND e.alert IN (
                SELECT alert FROM alert_events WHERE type = 'notified' AND at >= ?2 AND at < ?3
                UNION SELECT id FROM alerts WHERE since < ?3 AND (cleared IS NULL OR cleared > ?2))
            ORDER BY e.alert, e.n
            """,
            row => (Alert: row.GetString(0), Number: row.GetInt32(1), Event: StoredJson.Read<AlertEvent>(row.GetString(2))), site, from, to);
        return events.GroupBy(e => e.Alert).SelectMany(alert => Annunciation.Of(alert.Select(e => (e.Number, e.Event))))
            .Select(told => new AddressedAnnunciation(told, [.. letters[(told.Alert, told.Number)].DistinctBy(letter => letter.Address, StringComparer.OrdinalIgnoreCase)])).ToList();
    });

    /// <returns>Alerts that were closed with a cause found on site.</returns>
    public IReadOnlyList<Alert> ListClosed(SiteId? site) => database.Read(connection => connection.List(
        "SELECT json FROM alerts WHERE id IN (SELECT alert FROM alert_events WHERE type = 'closed') AND (?1 IS NULL OR site = ?1)", AlertOf, site));

    /// <summary>The first day of which anything is known of a site, or of any; null before there is one.</summary>
    public DateOnly? FindFirstDay(SiteId? site) => database.Read(connection =>
        connection.Scalar("SELECT min(day) FROM (SELECT (SELECT min(date) FROM days WHERE site = s.id) AS day FROM sites s WHERE ?1 IS NULL OR s.id = ?1)", site) is string day
            ? DateOnly.ParseExact(day, "yyyy-MM-dd", CultureInfo.InvariantCulture) : (DateOnly?)null);

    /// <summary>The alert and the number of its event, which a letter's key is made of.</summary>
    private static (string Alert, int Number) EventOf(string key)
    {
        var parts = key.Split('.');
        return parts.Length == 3 && int.TryParse(parts[1], CultureInfo.InvariantCulture, out var number) ? (parts[0], number) : (key, -1);
    }
}
