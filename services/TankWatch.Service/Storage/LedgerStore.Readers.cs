using TankWatch.Core;
using TankWatch.Core.Notifications;

namespace TankWatch.Service.Storage;

/// <summary>What is kept of people by their address: who declined what can wait, and up to when each has had their digest.</summary>
public sealed partial class LedgerStore
{
    /// <returns>By site the addresses, in lower case, of those who asked to be told of nothing but the critical.</returns>
    internal ILookup<SiteId, string> ReadDeclined() => database.Read(connection => connection.List(
        "SELECT site, email FROM declined", row => (Site: new SiteId(row.GetString(0)), Email: row.GetString(1)))).ToLookup(row => row.Site, row => row.Email);

    public bool HasDeclined(string email) => database.Read(connection => connection.Scalar("SELECT 1 FROM declined WHERE email = ?1", email.ToLowerInvariant())) is not null;

    /// <summary>From now on somebody is told of nothing but the critical of some sites. A site that is gone is passed over.</summary>
    public void Decline(string email, IEnumerable<SiteId> sites) => database.Write(connection =>
    {
        foreach (var site in sites.Where(site => Has(connection, site)))
        {
            connection.Execute("INSERT OR IGNORE INTO declined (site, email, at) VALUES (?1, ?2, ?3)", site, email.ToLowerInvariant(), time.GetUtcNow());
        }

        return MarkChange(connection);
    });

    /// <summary>From now on somebody is told again of everything that they are to be told of.</summary>
    public void UndoDecline(string email) => database.Write(connection =>
    {
        connection.Execute("DELETE FROM declined WHERE email = ?1", email.ToLowerInvariant());
        return MarkChange(connection);
    });

    /// <returns>By address, in lower case, up to when a person has had their digest.</returns>
    internal Dictionary<string, DateTimeOffset> ReadDigests() => database.Read(connection =>
        connection.List("SELECT email, until FROM digests", row => (row.GetString(0), row.Time(1))).ToDictionary(StringComparer.Ordinal));

    /// <summary>Whoever is new gets a digest of what happens from now on.</summary>
    internal void BeginDigests(IReadOnlyCollection<string> emails, DateTimeOffset now) => database.Write(connection =>
    {
        foreach (var email in emails)
        {
            connection.Execute("INSERT OR IGNORE INTO digests (email, until) VALUES (?1, ?2)", email, now);
        }

        return emails.Count;
    });

    /// <summary>Puts a digest in the outbox, and remembers in the same transaction that it was written.</summary>
    /// <param name="email">Whose, in lower case.</param>
    /// <param name="mail">Null when there is nothing to say.</param>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="due">When it may go.</param>
    internal void PostDigest(string email, DigestMail? mail, DateTimeOffset now, DateTimeOffset due) => database.Write(connection =>
    {
        if (mail is not null)
        {
            Insert(connection, mail, null, DigestReason, StoredJson.Write(mail), now, due, null, critical: false);
        }

        return connection.Execute("UPDATE digests SET until = ?2 WHERE email = ?1", email, now);
    });

    /// <returns>The alerts of a site that are open or ended since the last digest, each with how often it came back since.</returns>
    internal IReadOnlyList<DigestAlert> ListForDigest(SiteId site, DateTimeOffset since, DateTimeOffset now)
    {
        var returned = database.Read(connection => connection.List(
            """
            SELECT alert, count(*) FROM alert_events
            WHERE type = 'reraised' AND at >= ?2 AND at < ?3 AND alert IN (SELECT id FROM alerts WHERE site = ?1) GROUP BY alert
            """,
            row => (row.GetString(0), row.GetInt32(1)), site, since, now)).ToDictionary(StringComparer.Ordinal);
        return [.. ReadAlertsFrom(site, since).Select(alert => new DigestAlert(alert, returned.GetValueOrDefault(alert.Id)))];
    }
}
