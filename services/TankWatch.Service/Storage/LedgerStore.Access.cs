using System.Buffers.Text;
using System.Security.Cryptography;
using System.Text;
using TankWatch.Core;

namespace TankWatch.Service.Storage;

/// <summary>A credential as it is shown once, or why there is none.</summary>
/// <param name="Secret">Null when there is a fault.</param>
/// <param name="Fault">One line; null when done.</param>
public sealed record Issued(string? Secret, string? Fault);

/// <summary>Whose key it is.</summary>
/// <param name="Name">Of the key.</param>
/// <param name="Role">caretaker, installer or operator.</param>
/// <param name="Site">The only site it opens; null for all.</param>
public sealed record KeyHolder(string Name, string Role, SiteId? Site);

/// <summary>Credentials of field units and of API users.</summary>
/// <remarks>
/// Both are 256 random bits that this service made, so one SHA-256 is enough: stretching (PBKDF2 and the like) makes up for what
/// people choose, and would stall the broker when a thousand units come back together. Only the hash is stored.
/// </remarks>
public sealed partial class LedgerStore
{
    public static IReadOnlyList<string> Roles { get; } = ["caretaker", "installer", "operator"];

    /// <summary>Makes the credentials of a unit that the site's file names.</summary>
    public Issued AddUnit(UnitId unit, SiteId site) => database.Write(connection =>
    {
        if (connection.Scalar("SELECT 1 FROM sites WHERE id = ?1", site) is null)
        {
            return new Issued(null, $"there is no site {site}; import its file first (site import FILE)");
        }

        switch (connection.Scalar("SELECT site FROM units WHERE id = ?1", unit) as string)
        {
            case null:
                return new Issued(null, $"the file of site {site} names no unit {unit}: what it reports would mean nothing; add it there and import the file again");
            case var owner when owner != site.Value:
                return new Issued(null, $"unit {unit} belongs to site {owner}");
        }

        if (connection.Scalar("SELECT 1 FROM units WHERE id = ?1 AND secret IS NOT NULL", unit) is not null)
        {
            return new Issued(null, $"unit {unit} has credentials already; revoke them first (unit revoke {unit})");
        }

        var secret = NewSecret("twu_");
        connection.Execute("UPDATE units SET secret = ?2, issued = ?3, revoked = NULL WHERE id = ?1", unit, HashOf(secret), time.GetUtcNow());
        MarkChange(connection);
        return new Issued(secret, null);
    });

    /// <returns>False when the unit has no credentials.</returns>
    public bool RevokeUnit(UnitId unit) => database.Write(connection =>
    {
        MarkChange(connection);
        return connection.Execute("UPDATE units SET secret = NULL, revoked = ?2 WHERE id = ?1 AND secret IS NOT NULL", unit, time.GetUtcNow()) == 1;
    });

    public bool CheckUnit(UnitId unit, string secret)
    {
        var stored = database.Read(connection => connection.Scalar("SELECT secret FROM units WHERE id = ?1", unit) as byte[]);
        return CryptographicOperations.FixedTimeEquals(HashOf(secret), stored ?? new byte[SHA256.HashSizeInBytes]) && stored is not null;
    }

    /// <summary>The hashes of all valid unit secrets, by which a broker sees that a connection outlived its credentials.</summary>
    internal IReadOnlyDictionary<UnitId, byte[]> ListUnitSecrets() => database.Read(connection => connection
        .List("SELECT id, secret FROM units WHERE secret IS NOT NULL", row => (Id: new UnitId(row.GetString(0)), Hash: row.GetFieldValue<byte[]>(1)))
        .ToDictionary(unit => unit.Id, unit => unit.Hash));

    /// <param name="name">1 to 64 of <c>A-Z a-z 0-9 . _ -</c>.</param>
    /// <param name="role">One of <see cref="Roles"/>.</param>
    /// <param name="site">The only site it opens; null for all.</param>
    public Issued AddKey(string name, string role, SiteId? site)
    {
        if (!IdRule.Holds(name))
        {
            return new(null, $"a key's name is {IdRule.InWords}");
        }

        if (!Roles.Contains(role))
        {
            return new(null, $"a role is one of {string.Join(", ", Roles)}");
        }

        return database.Write(connection =>
        {
            if (site is { } only && connection.Scalar("SELECT 1 FROM sites WHERE id = ?1", only) is null)
            {
                return new Issued(null, $"there is no site {only}");
            }

            if (connection.Scalar("SELECT 1 FROM keys WHERE name = ?1 AND revoked IS NULL", name) is not null)
            {
                return new Issued(null, $"there is a key {name} already; revoke it first (key revoke {name})");
            }

            var key = NewSecret("twk_");
            connection.Execute(
                "INSERT OR REPLACE INTO keys (name, hash, role, site, created) VALUES (?1, ?2, ?3, ?4, ?5)", name, HashOf(key), role, site, time.GetUtcNow());
            MarkChange(connection);
            return new Issued(key, null);
        });
    }

    /// <summary>Takes a key back, and with it the browsers that were subscribed by it: whoever leaves neither sees alerts any more nor keeps their mails back.</summary>
    /// <returns>False when there is no such key in force.</returns>
    public bool RevokeKey(string name) => database.Write(connection =>
    {
        MarkChange(connection);
        connection.Execute("DELETE FROM push_subscriptions WHERE key = ?1", name);
        return connection.Execute("UPDATE keys SET revoked = ?2 WHERE name = ?1 AND revoked IS NULL", name, time.GetUtcNow()) == 1;
    });

    /// <summary>The holder of a key in force.</summary>
    public KeyHolder? FindKey(string key) => database.Read(connection => connection.Find(
        "SELECT name, role, site FROM keys WHERE hash = ?1 AND revoked IS NULL",
        row => new KeyHolder(row.GetString(0), row.GetString(1), row.TextOrNull(2) is { } site ? new SiteId(site) : null), HashOf(key)));

    internal static byte[] HashOf(string secret) => SHA256.HashData(Encoding.UTF8.GetBytes(secret));

    /// <summary>The prefix tells people and secret scanners what it is, and keeps it from looking like a flag on a command line.</summary>
    private static string NewSecret(string prefix) => prefix + Base64Url.EncodeToString(RandomNumberGenerator.GetBytes(32));
}
