using System.Text;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Storage;

/// <summary>A site as it was put.</summary>
/// <param name="Id">The site.</param>
/// <param name="Json">The site file, byte for byte.</param>
/// <param name="Plan">Null when this version of the program finds a fault in it that an earlier one did not.</param>
/// <param name="UpdatedAt">When it was put, UTC.</param>
public sealed record StoredSite(SiteId Id, string Json, SitePlan? Plan, DateTimeOffset UpdatedAt);

/// <summary>The ledger: sites, units and keys here; alerts and the outbox in the other parts of this class.</summary>
/// <remarks>
/// Any process may write to it. Whatever changes sites, units or keys also moves <see cref="ReadChanges"/> on, by which a running
/// service learns of it.
/// </remarks>
public sealed partial class LedgerStore(Database database, TimeProvider time)
{
    /// <returns>Of each site a number that is another one whenever it was put.</returns>
    internal Dictionary<SiteId, long> ReadSiteVersions() => database.Read(connection =>
        connection.List("SELECT id, version FROM sites", row => (new SiteId(row.GetString(0)), row.GetInt64(1))).ToDictionary());

    public StoredSite? FindSite(SiteId site) => database.Read(connection =>
        connection.Find("SELECT id, json, updated FROM sites WHERE id = ?1", SiteOf, site));

    /// <summary>Adds or replaces a site.</summary>
    /// <param name="plan">What <paramref name="json"/> says.</param>
    /// <param name="json">The site file.</param>
    /// <param name="namesOwner">The fault may name the site to which a unit belongs; not to somebody who does not see it.</param>
    /// <returns>Null when done, else the fault in one line.</returns>
    public string? PutSite(SitePlan plan, string json, bool namesOwner = true) => database.Write(connection =>
    {
        if (plan.Id == SiteId.Own && !ReferenceEquals(plan, Own.OwnSite.Plan))
        {
            return $"the id {plan.Id} is this service's own";
        }

        foreach (var unit in plan.Units)
        {
            if (connection.Scalar("SELECT site FROM units WHERE id = ?1 AND site <> ?2", unit.Id, plan.Id) is string other)
            {
                return $"unit {unit.Id} {(namesOwner ? $"belongs to site {other}" : "is taken")}: a unit's topic does not name its site, so its id may stand in one site file only";
            }
        }

        connection.Execute(
            "INSERT INTO sites (id, json, updated, version) VALUES (?1, ?2, ?3, ?4) ON CONFLICT (id) DO UPDATE SET json = ?2, updated = ?3, version = ?4",
            plan.Id, json, time.GetUtcNow(), MarkChange(connection));
        var named = plan.Units.Select(unit => unit.Id.Value).ToHashSet(StringComparer.Ordinal);
        foreach (var gone in connection.List("SELECT id FROM units WHERE site = ?1", row => row.GetString(0), plan.Id).Where(id => !named.Contains(id)))
        {
            connection.Execute("DELETE FROM units WHERE id = ?1", gone);
        }

        foreach (var unit in named)
        {
            connection.Execute("INSERT OR IGNORE INTO units (id, site) VALUES (?1, ?2)", unit, plan.Id);
        }

        return null;
    });

    /// <summary>Deletes a site with everything that was kept of it: its messages, figures, alerts, mails and credentials.</summary>
    public bool DeleteSite(SiteId site) => database.Write(connection =>
    {
        connection.Execute("DELETE FROM refused WHERE bucket IN (SELECT id FROM units WHERE site = ?1)", site);
        SeriesStore.Delete(connection, site);
        var deleted = connection.Execute("DELETE FROM sites WHERE id = ?1", site) == 1;
        connection.Execute("UPDATE keys SET revoked = ?2 WHERE site = ?1 AND revoked IS NULL", site, time.GetUtcNow());
        MarkChange(connection);
        return deleted;
    });

    /// <summary>Moves on with every change of sites, units or keys, by whatever process.</summary>
    public long ReadChanges() => database.Read(connection => connection.Scalar("SELECT value FROM meta WHERE name = 'changes'") is string text
        ? long.Parse(text, System.Globalization.CultureInfo.InvariantCulture) : 0);

    /// <summary>A random name of this store, made once: what tells its mails from another installation's.</summary>
    internal string GetInstallation() => database.Write(connection =>
    {
        connection.Execute(
            "INSERT OR IGNORE INTO meta (name, value) VALUES ('installation', ?1)",
            Convert.ToHexStringLower(System.Security.Cryptography.RandomNumberGenerator.GetBytes(16)));
        return (string)connection.Scalar("SELECT value FROM meta WHERE name = 'installation'")!;
    });

    /// <summary>What signs the links in mails: 32 random bytes, made once. It is restored with a backup, so that links in mails from before it go on to work.</summary>
    internal byte[] GetLinkKey()
    {
        const string find = "SELECT value FROM meta WHERE name = 'link-key'";
        return Convert.FromHexString(database.Read(connection => connection.Scalar(find) as string) ?? database.Write(connection =>
        {
            connection.Execute(
                "INSERT OR IGNORE INTO meta (name, value) VALUES ('link-key', ?1)", Convert.ToHexStringLower(System.Security.Cryptography.RandomNumberGenerator.GetBytes(32)));
            return (string)connection.Scalar(find)!;
        }));
    }

    /// <summary>Whether a site is there; call it within a transaction.</summary>
    internal static bool Has(SqliteConnection connection, SiteId site) => connection.Scalar("SELECT 1 FROM sites WHERE id = ?1", site) is not null;

    /// <returns>How many there have been.</returns>
    private static long MarkChange(SqliteConnection connection) => (long)connection.Scalar(
        "INSERT INTO meta (name, value) VALUES ('changes', '1') ON CONFLICT (name) DO UPDATE SET value = CAST(CAST(value AS INTEGER) + 1 AS TEXT) RETURNING CAST(value AS INTEGER)")!;

    private static StoredSite SiteOf(SqliteDataReader row)
    {
        var json = row.GetString(1);
        return new(new(row.GetString(0)), json, SiteFile.Parse(Encoding.UTF8.GetBytes(json)).Plan, row.Time(2));
    }
}
