using System.Buffers.Text;
using System.Security.Cryptography;
using System.Text;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;

namespace TankWatch.Service.Storage;

/// <summary>A browser that shows somebody's alerts.</summary>
/// <param name="Endpoint">Where its push service takes messages for it. Nobody else knows it: it is the right to send.</param>
/// <param name="P256dh">Its public key, base64url (RFC 8291).</param>
/// <param name="Auth">The secret it shares with us, base64url.</param>
/// <param name="Email">Whose alerts, lower case.</param>
/// <param name="Name">What its owner calls the device.</param>
/// <param name="Key">Of whom subscribed it; it goes when that key is taken back.</param>
/// <param name="Site">The only site of which it is told, as that key sees no other; null for all.</param>
public sealed record PushSubscriber(string Endpoint, string P256dh, string Auth, string Email, string Name, string Key, SiteId? Site)
{
    /// <summary>Made of the endpoint, so that a browser knows its own. No secret: who may see or remove it is asked of the caller's key.</summary>
    public string Id { get; } = Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(Endpoint)))[..24];

    /// <summary>What it says with a receipt, base64url; sent to it alone.</summary>
    public string Token { get; init; } = "";

    /// <summary>UTC.</summary>
    public DateTimeOffset CreatedAt { get; init; }

    /// <summary>When it last said that it shows something, UTC; null before the first time.</summary>
    public DateTimeOffset? ReceivedAt { get; init; }
}

/// <summary>A letter that is to go to browsers.</summary>
/// <param name="Entry">The letter.</param>
/// <param name="Token">What a browser sends back once it shows it.</param>
/// <param name="Browsers">Those of its recipient that may show it.</param>
internal sealed record DuePush(OutboxEntry Entry, string Token, IReadOnlyList<PushSubscriber> Browsers);

/// <summary>The pair of keys by which push services know this installation (RFC 8292), base64url.</summary>
public sealed record PushKeys(string Public, string Private);

public sealed partial class LedgerStore
{
    /// <summary>So long a letter's mail waits for a browser to say that it shows it.</summary>
    public static readonly TimeSpan ReceiptPatience = TimeSpan.FromSeconds(60);

    /// <summary>128 bits, that cannot be guessed.</summary>
    private const int TokenBytes = 16;

    private const string SubscriberColumns = "endpoint, p256dh, auth, email, name, key, site, token, created, received";

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

    /// <summary>Adds a browser, or changes whose it is and by whose key.</summary>
    /// <param name="browser">Its token and times are given here.</param>
    public PushSubscriber PutSubscriber(PushSubscriber browser) => database.Write(connection =>
    {
        connection.Execute(
            """
            INSERT INTO push_subscriptions (id, endpoint, p256dh, auth, email, name, key, site, token, created) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)
            ON CONFLICT (id) DO UPDATE SET p256dh = ?3, auth = ?4, email = ?5, name = ?6, key = ?7, site = ?8, token = ?9
            """,
            browser.Id, browser.Endpoint, browser.P256dh, browser.Auth, browser.Email.ToLowerInvariant(), browser.Name, browser.Key, browser.Site, NewToken(), time.GetUtcNow());
        return FindSubscriber(connection, browser.Id)!;
    });

    /// <returns>How many other browsers show the same address the alerts of the same site.</returns>
    public long CountOtherSubscribers(PushSubscriber browser) => database.Read(connection => (long)connection.Scalar(
        "SELECT count(*) FROM push_subscriptions WHERE email = ?1 AND site IS ?2 AND id <> ?3", browser.Email.ToLowerInvariant(), browser.Site, browser.Id)!);

    public bool RemoveSubscriber(string id) => database.Write(connection => connection.Execute("DELETE FROM push_subscriptions WHERE id = ?1", id) == 1);

    public PushSubscriber? FindSubscriber(string id) => database.Read(connection => FindSubscriber(connection, id));

    /// <param name="site">That whoever asks sees; null for all.</param>
    /// <param name="key">Of whoever asks: what they subscribed themselves comes first.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>Newest first.</returns>
    public IReadOnlyList<PushSubscriber> ListSubscribers(SiteId? site, string key, int limit) => database.Read(connection => connection.List(
        $"SELECT {SubscriberColumns} FROM push_subscriptions WHERE ?1 IS NULL OR site = ?1 ORDER BY key = ?2 DESC, created DESC, id LIMIT ?3", SubscriberOf, site, key, limit));

    /// <summary>Letters whose time has come to go to browsers.</summary>
    internal IReadOnlyList<DuePush> ListDuePushes(DateTimeOffset now, int limit) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns}, (SELECT token FROM pushes p WHERE p.n = outbox.n) FROM outbox WHERE n IN (SELECT n FROM pushes WHERE due <= ?1 ORDER BY due, n LIMIT ?2) ORDER BY n",
        row => (Entry: EntryOf(row), Token: row.GetString(row.FieldCount - 1)), now, limit)).Select(push => new DuePush(push.Entry, push.Token, ListSubscribers(push.Entry.Letter.Notification))).ToList();

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

    /// <summary>A browser shows a letter: its mail need not go, unless it went already. Or it shows a trial, which is no letter.</summary>
    /// <param name="browser">Its token.</param>
    /// <param name="letter">The token of the letter; null for a trial.</param>
    /// <param name="now">UTC.</param>
    /// <returns>False for tokens that were never given, and for a browser that may show alerts no more.</returns>
    internal bool TakeReceipt(string browser, string? letter, DateTimeOffset now) => database.Write(connection =>
    {
        if (connection.Execute("UPDATE push_subscriptions SET received = ?2 WHERE token = ?1", browser, now) == 0)
        {
            return false;
        }

        if (letter is null)
        {
            return true;
        }

        if (connection.Scalar("UPDATE pushes SET received = coalesce(received, ?2) WHERE token = ?1 RETURNING n", letter, now) is not long n)
        {
            return false;
        }

        connection.Execute("UPDATE outbox SET next_attempt = NULL, sent_at = ?2, last_error = NULL WHERE n = ?1 AND next_attempt IS NOT NULL AND gathered_in IS NULL", n, now);
        return true;
    });

    /// <summary>
    /// The recipient's browsers that may show it. One that was subscribed by the key of a site is told of that site alone, whatever else its address is a
    /// contact of; of an area's outage, if the site is in it.
    /// </summary>
    private List<PushSubscriber> ListSubscribers(Notification notice) => database.Read(connection => connection.List(
        $"""
        SELECT {SubscriberColumns} FROM push_subscriptions s WHERE email = ?1
            AND (site IS NULL OR site = ?2 OR EXISTS (SELECT 1 FROM alerts WHERE caused_by = ?3 AND site = s.site)) ORDER BY created, id
        """,
        SubscriberOf, notice.To.Email!.ToLowerInvariant(), notice.Alert.Site, notice.Alert.Finding.Kind == FindingKind.AreaOutage ? notice.Alert.Id : null));

    /// <summary>Sends a letter to its recipient's browsers first, if there are any; in the transaction that posts it.</summary>
    /// <remarks>Which sites are in an area's outage is not stored yet. If no browser may show it after all, the mail goes at once.</remarks>
    private static void PushFirst(SqliteConnection connection, Notification notice, DateTimeOffset due)
    {
        if (notice.To.Email is not { } email
            || connection.Scalar("SELECT 1 FROM push_subscriptions WHERE email = ?1 AND (site IS NULL OR ?2 IS NULL OR site = ?2)", email.ToLowerInvariant(), notice.Alert.Site) is null)
        {
            return;
        }

        if (connection.Scalar("UPDATE outbox SET next_attempt = ?2 WHERE key = ?1 AND sent_at IS NULL AND attempts = 0 RETURNING n", notice.Key, due + ReceiptPatience) is long n)
        {
            connection.Execute("INSERT OR IGNORE INTO pushes (n, due, token) VALUES (?1, ?2, ?3)", n, due, NewToken());
        }
    }

    private static string NewToken() => Base64Url.EncodeToString(RandomNumberGenerator.GetBytes(TokenBytes));

    private static PushSubscriber? FindSubscriber(SqliteConnection connection, string id) =>
        connection.Find($"SELECT {SubscriberColumns} FROM push_subscriptions WHERE id = ?1", SubscriberOf, id);

    private static PushSubscriber SubscriberOf(SqliteDataReader row) => new(
        row.GetString(0), row.GetString(1), row.GetString(2), row.GetString(3), row.GetString(4), row.GetString(5), row.TextOrNull(6) is { } site ? new SiteId(site) : null)
    {
        Token = row.GetString(7), CreatedAt = row.Time(8), ReceivedAt = row.TimeOrNull(9),
    };
}
