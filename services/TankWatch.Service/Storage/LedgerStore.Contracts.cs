using System.Collections.Immutable;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Contracts;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Storage;

/// <summary>What happened to a visit. Stored names.</summary>
public enum VisitNews { Planned, Moved, Cancelled }

/// <summary>A letter about a visit, with what a calendar needs.</summary>
/// <param name="Key">See <see cref="IOutboxMail"/>.</param>
/// <param name="MessageId">See <see cref="IOutboxMail"/>.</param>
/// <param name="To">Somebody who was asked to it.</param>
/// <param name="ThreadKeys">Keys of the earlier letters about this visit to this person, oldest first.</param>
/// <param name="News">Why it is written.</param>
/// <param name="Visit">As it stood.</param>
/// <param name="Why">Somebody goes.</param>
/// <param name="SiteName">As the site file gives it.</param>
/// <param name="TimeZone">The id of the site's time zone.</param>
public sealed record VisitMail(
    string Key, string MessageId, Contact To, ImmutableArray<string> ThreadKeys, VisitNews News, Visit Visit, Phrase Why, string SiteName, string TimeZone) : IOutboxMail;

/// <summary>What installers promise sites, and their visits.</summary>
public sealed partial class LedgerStore
{
    private const string VisitReason = "visit";

    public Contract? FindContract(SiteId site) => database.Read(connection =>
        connection.Find("SELECT json FROM contracts WHERE site = ?1", row => StoredJson.Read<Contract>(row.GetString(0)), site));

    /// <returns>False when the site is gone.</returns>
    internal bool PutContract(SiteId site, Contract contract) => database.Write(connection => Has(connection, site) && connection.Execute(
        "INSERT INTO contracts (site, json, updated) VALUES (?1, ?2, ?3) ON CONFLICT (site) DO UPDATE SET json = ?2, updated = ?3",
        site, StoredJson.Write(contract), time.GetUtcNow()) == 1);

    internal bool RemoveContract(SiteId site) => database.Write(connection => connection.Execute("DELETE FROM contracts WHERE site = ?1", site) == 1);

    public Visit? FindVisit(string id) => database.Read(connection => connection.Find("SELECT json FROM visits WHERE id = ?1", VisitOf, id));

    /// <param name="site">Of this site.</param>
    /// <param name="after">The id of a visit to go on from; null for the latest.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>The one that starts last first.</returns>
    public IReadOnlyList<Visit> ListVisits(SiteId site, string? after, int limit) => database.Read(connection => connection.List(
        """
        SELECT json FROM visits
        WHERE site = ?1 AND (?2 IS NULL OR (starts, id) < (SELECT starts, id FROM visits WHERE id = ?2 AND site = ?1)) ORDER BY starts DESC, id DESC LIMIT ?3
        """,
        VisitOf, site, after, limit));

    /// <summary>The visit that comes next, also one that should have been by now and of which nothing was said yet.</summary>
    public Visit? FindNextVisit(SiteId site) => database.Read(connection => connection.Find(
        "SELECT json FROM visits WHERE site = ?1 AND state = 'planned' ORDER BY starts, id LIMIT 1", VisitOf, site));

    /// <summary>Adds a visit, or changes one, and posts the letters about it.</summary>
    /// <param name="visit">As it is to be.</param>
    /// <param name="before">As it was read; null for a new one.</param>
    /// <param name="letters">About this change.</param>
    /// <returns>False when somebody else changed it meanwhile, or the site is gone: then nothing was done.</returns>
    internal bool PutVisit(Visit visit, Visit? before, IEnumerable<VisitMail> letters) => database.Write(connection =>
    {
        var state = System.Text.Json.JsonNamingPolicy.KebabCaseLower.ConvertName(visit.State.ToString());
        var isDone = before is null
            ? Has(connection, visit.Site) && connection.Execute(
                "INSERT INTO visits (id, site, state, starts, json) VALUES (?1, ?2, ?3, ?4, ?5)", visit.Id, visit.Site, state, visit.StartsAt, StoredJson.Write(visit)) == 1
            : connection.Execute(
                "UPDATE visits SET state = ?2, starts = ?3, json = ?4 WHERE id = ?1 AND json = ?5", visit.Id, state, visit.StartsAt, StoredJson.Write(visit), StoredJson.Write(before)) == 1;
        foreach (var letter in isDone ? letters : [])
        {
            var now = time.GetUtcNow();
            connection.Execute(
                "INSERT INTO outbox (key, visit, reason, recipient, message_id, json, created, next_attempt) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?7) ON CONFLICT (key) DO NOTHING",
                letter.Key, visit.Id, VisitReason, letter.To.Email ?? "", letter.MessageId, StoredJson.Write(letter), now);
        }

        return isDone;
    });

    /// <summary>Alerts of a site that people were told of in a time, with when they answered.</summary>
    /// <param name="site">Of this site.</param>
    /// <param name="from">UTC.</param>
    /// <param name="to">UTC, excluded.</param>
    /// <param name="visits">Of the site.</param>
    public IReadOnlyList<ToldAlert> ListTold(SiteId site, DateTimeOffset from, DateTimeOffset to, IReadOnlyList<Visit> visits) => database.Read(connection => connection.List(
        "SELECT json FROM alerts WHERE site = ?1 AND id IN (SELECT alert FROM alert_events WHERE type = 'notified' AND at >= ?2 AND at < ?3)", AlertOf, site, from, to)
        .Select(alert => ToldAlert.Of(alert, ListAlertEvents(alert.Id).Select(stored => StoredJson.Read<AlertEvent>(stored.Json)), visits)).OfType<ToldAlert>().ToList());

    private static Visit VisitOf(SqliteDataReader row) => StoredJson.Read<Visit>(row.GetString(0));
}
