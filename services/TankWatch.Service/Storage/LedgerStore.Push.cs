using System.Buffers.Text;
using System.Security.Cryptography;
using System.Text;
using Microsoft.Data.Sqlite;

namespace TankWatch.Service.Storage;

/// <summary>A browser that shows somebody's alerts.</summary>
/// <param name="Id">Made of the endpoint.</param>
/// <param name="Endpoint">Where its push service takes messages for it.</param>
/// <param name="P256dh">Its public key, base64url (RFC 8291).</param>
/// <param name="Auth">The secret it shares with us, base64url.</param>
/// <param name="Email">Whose it is, lower case.</param>
/// <param name="CreatedAt">UTC.</param>
public sealed record PushSubscriber(string Id, string Endpoint, string P256dh, string Auth, string Email, DateTimeOffset CreatedAt);

/// <summary>A letter that is to go to browsers.</summary>
/// <param name="Entry">The letter.</param>
/// <param name="Token">What a browser sends back once it shows it.</param>
/// <param name="Browsers">Those of its recipient.</param>
internal sealed record DuePush(OutboxEntry Entry, string Token, IReadOnlyList<PushSubscriber> Browsers);

/// <summary>The pair of keys by which push services know this installation (RFC 8292), base64url.</summary>
public sealed record PushKeys(string Public, string Private);

public sealed partial class LedgerStore
{
    /// <summary>So long a letter's mail waits for a browser to say that it shows it.</summary>
    public static readonly TimeSpan ReceiptPatience = TimeSpan.FromSeconds(60);

    private const string SubscriberColumns = "id, endpoint, p256dh, auth, email, created";

    /// <summary>Made once for a store.</summary>
    public PushKeys GetPushKeys() => database.Write(connection =>
    {
        if ((connection.Scalar("SELECT value FROM meta WHERE name = 'push-keys'") as string)?.Split(' ') is [var known, var secret])
        {
            return new PushKeys(known, secret);
        }

        using var pair = ECDsa.Create(ECCurve.NamedCurves.nistP256);
        var made = pair.ExportParameters(includePrivateParameters: true);
        var keys = new PushKeys(Base64Url.EncodeToString([4, .. made.Q.X!, .. made.Q.Y!]), Base64Url.EncodeToString(made.D));
        connection.Execute("INSERT INTO meta (name, value) VALUES ('push-keys', ?1)", $"{keys.Public} {keys.Private}");
        return keys;
    });

    /// <summary>Adds a browser, or changes whose it is.</summary>
    public PushSubscriber PutSubscriber(string endpoint, string p256dh, string auth, string email) => database.Write(connection =>
    {
        var id = Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(endpoint)))[..24];
        connection.Execute(
            """
            INSERT INTO push_subscriptions (id, endpoint, p256dh, auth, email, created) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
            ON CONFLICT (id) DO UPDATE SET p256dh = ?3, auth = ?4, email = ?5
            """,
            id, endpoint, p256dh, auth, email.ToLowerInvariant(), time.GetUtcNow());
        return connection.Find($"SELECT {SubscriberColumns} FROM push_subscriptions WHERE id = ?1", SubscriberOf, id)!;
    });

    public bool RemoveSubscriber(string id) => database.Write(connection => connection.Execute("DELETE FROM push_subscriptions WHERE id = ?1", id) == 1);

    public IReadOnlyList<PushSubscriber> ListSubscribers(string email) => database.Read(connection => connection.List(
        $"SELECT {SubscriberColumns} FROM push_subscriptions WHERE email = ?1 ORDER BY created, id", SubscriberOf, email.ToLowerInvariant()));

    /// <summary>Letters whose time has come to go to browsers.</summary>
    internal IReadOnlyList<DuePush> ListDuePushes(DateTimeOffset now, int limit) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns}, (SELECT token FROM pushes p WHERE p.n = outbox.n) FROM outbox WHERE n IN (SELECT n FROM pushes WHERE due <= ?1 ORDER BY due, n LIMIT ?2) ORDER BY n",
        row => (Entry: EntryOf(row), Token: row.GetString(row.FieldCount - 1)), now, limit)).Select(push => new DuePush(push.Entry, push.Token, ListSubscribers(push.Entry.Letter.Notification.To.Email!))).ToList();

    /// <summary>When the next letter goes to browsers; null when none waits.</summary>
    internal DateTimeOffset? FindNextPush() => database.Read(connection =>
        connection.Scalar("SELECT min(due) FROM pushes WHERE due IS NOT NULL") is long ticks ? new DateTimeOffset(ticks, TimeSpan.Zero) : (DateTimeOffset?)null);

    /// <summary>It went out to at least one browser, and a receipt may come.</summary>
    internal void MarkPushed(DuePush push) => database.Write(connection => connection.Execute("UPDATE pushes SET due = NULL WHERE n = ?1", push.Entry.Position));

    /// <summary>No browser could be reached: nothing is to be waited for, and the mail goes at once.</summary>
    internal void MarkUnpushed(DuePush push, string error, DateTimeOffset now) => database.Write(connection =>
    {
        connection.Execute("UPDATE pushes SET due = NULL, last_error = ?2 WHERE n = ?1", push.Entry.Position, error);
        return connection.Execute("UPDATE outbox SET next_attempt = min(next_attempt, ?2) WHERE n = ?1 AND next_attempt IS NOT NULL", push.Entry.Position, now);
    });

    /// <summary>A browser shows a letter: its mail need not go, unless it went already.</summary>
    /// <returns>False for a token that was never given.</returns>
    internal bool TakeReceipt(string token, DateTimeOffset now) => database.Write(connection =>
    {
        if (connection.Scalar("UPDATE pushes SET received = coalesce(received, ?2) WHERE token = ?1 RETURNING n", token, now) is not long n)
        {
            return false;
        }

        connection.Execute("UPDATE outbox SET next_attempt = NULL, sent_at = ?2, last_error = NULL WHERE n = ?1 AND next_attempt IS NOT NULL AND gathered_in IS NULL", n, now);
        return true;
    });

    /// <summary>Sends a letter to its recipient's browsers first, if there are any; in the transaction that posts it.</summary>
    private static void PushFirst(SqliteConnection connection, string key, string? email, DateTimeOffset due)
    {
        if (email is null || connection.Scalar("SELECT 1 FROM push_subscriptions WHERE email = ?1", email.ToLowerInvariant()) is null)
        {
            return;
        }

        if (connection.Scalar("UPDATE outbox SET next_attempt = ?2 WHERE key = ?1 AND sent_at IS NULL AND attempts = 0 RETURNING n", key, due + ReceiptPatience) is long n)
        {
            connection.Execute("INSERT OR IGNORE INTO pushes (n, due, token) VALUES (?1, ?2, ?3)", n, due, Base64Url.EncodeToString(RandomNumberGenerator.GetBytes(16)));
        }
    }

    private static PushSubscriber SubscriberOf(SqliteDataReader row) => new(row.GetString(0), row.GetString(1), row.GetString(2), row.GetString(3), row.GetString(4), row.Time(5));
}
