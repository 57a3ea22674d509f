using Microsoft.Data.Sqlite;
using TankWatch.Core;

namespace TankWatch.Service.Storage;

/// <summary>A program elsewhere that is told of events of alerts, and how far that has come.</summary>
/// <param name="Id">Made here.</param>
/// <param name="Url">Where to.</param>
/// <param name="Site">Of this site alone; null for all.</param>
/// <param name="Secret">Signs; <c>whsec_</c> and base64.</param>
/// <param name="FormerSecret">Signs too, until <paramref name="FormerUntil"/>; null when there is none.</param>
/// <param name="FormerUntil">UTC.</param>
/// <param name="CreatedAt">UTC.</param>
/// <param name="Cursor">A position of the log of all alerts: what came up to it is settled.</param>
/// <param name="Failing">Of the target, not of one event.</param>
/// <param name="DisabledAt">Null while it is in use.</param>
/// <param name="DisabledWhy">One line; null while it is in use.</param>
public sealed record Webhook(
    string Id, string Url, SiteId? Site, string Secret, string? FormerSecret, DateTimeOffset? FormerUntil, DateTimeOffset CreatedAt, long Cursor,
    WebhookFailing Failing, DateTimeOffset? DisabledAt, string? DisabledWhy)
{
    /// <summary>The secrets in force, the newest first.</summary>
    public IReadOnlyList<string> SecretsAt(DateTimeOffset now) => FormerSecret is { } former && FormerUntil > now ? [Secret, former] : [Secret];
}

/// <summary>How a target fails at present.</summary>
/// <param name="Failures">In a row in which it did not answer, or not well; a refusal of one event is none.</param>
/// <param name="Since">Of the first failure of any sort since something was taken; null when there was none.</param>
/// <param name="NextAttemptAt">Not before; null for at once.</param>
public sealed record WebhookFailing(int Failures, DateTimeOffset? Since, DateTimeOffset? NextAttemptAt)
{
    public static readonly WebhookFailing Not = new(0, null, null);
}

/// <summary>One event on its way to one target.</summary>
/// <param name="Position">In the log of all alerts.</param>
/// <param name="Message">The <c>webhook-id</c>, the same in each try.</param>
/// <param name="Alert">Its id.</param>
/// <param name="Type">Such as <c>alert.raised</c>.</param>
/// <param name="State">A name of <see cref="DeliveryStates"/>.</param>
/// <param name="Attempts">Tries so far.</param>
/// <param name="FirstAt">Of the first try.</param>
/// <param name="LastAt">Of the last try.</param>
/// <param name="Status">The HTTP status that came last; null when none came.</param>
/// <param name="Detail">What came of the last try, in one line.</param>
public sealed record WebhookDelivery(
    long Position, string Message, string Alert, string Type, string State, int Attempts, DateTimeOffset FirstAt, DateTimeOffset LastAt, int? Status, string Detail);

/// <summary>Stored names: a format.</summary>
public static class DeliveryStates
{
    public const string Delivered = "delivered";
    public const string Failing = "failing";
    public const string SetAside = "set-aside";
}

/// <summary>The targets of webhooks, and what became of the events for each.</summary>
public sealed partial class LedgerStore
{
    public const int MostWebhooks = 100;

    /// <summary>So many delivered events of each target are remembered, and so many set aside.</summary>
    private const int DeliveriesKept = 500;

    private const string WebhookColumns =
        "id, url, site, secret, former_secret, former_until, created, cursor, failures, failing_since, next_attempt, disabled, disabled_why";

    private const string DeliveryColumns = "position, message, alert, type, state, attempts, first, last, status, detail";

    /// <summary>Adds a target, which is told what happens from now on.</summary>
    /// <param name="id">New.</param>
    /// <param name="url">Checked.</param>
    /// <param name="site">Of this site alone; null for all.</param>
    /// <param name="secret">With which to sign.</param>
    /// <param name="now">UTC.</param>
    /// <returns>Null when done, else the fault in one line.</returns>
    internal string? AddWebhook(string id, string url, SiteId? site, string secret, DateTimeOffset now) => database.Write(connection =>
    {
        if (site is { } only && !Has(connection, only))
        {
            return $"there is no site {only}";
        }

        if (connection.Scalar("SELECT count(*) FROM webhooks") is >= (long)MostWebhooks)
        {
            return $"there are {MostWebhooks} webhooks already; remove one first";
        }

        connection.Execute(
            "INSERT INTO webhooks (id, url, site, secret, created, cursor) VALUES (?1, ?2, ?3, ?4, ?5, ?6)", id, url, site, secret, now, AlertPosition(connection));
        return null;
    });

    public Webhook? FindWebhook(string id) => database.Read(connection =>
        connection.Find($"SELECT {WebhookColumns} FROM webhooks WHERE id = ?1", WebhookOf, id));

    /// <returns>Newest first.</returns>
    public IReadOnlyList<Webhook> ListWebhooks() => database.Read(connection =>
        connection.List($"SELECT {WebhookColumns} FROM webhooks ORDER BY created DESC, id", WebhookOf));

    public bool RemoveWebhook(string id) => database.Write(connection => connection.Execute("DELETE FROM webhooks WHERE id = ?1", id) == 1);

    /// <summary>Gives a target another secret; the present one signs too until a time, and one before it no more.</summary>
    internal bool RotateWebhook(string id, string secret, DateTimeOffset formerUntil) => database.Write(connection => connection.Execute(
        "UPDATE webhooks SET former_secret = secret, former_until = ?3, secret = ?2 WHERE id = ?1", id, secret, formerUntil) == 1);

    /// <summary>Deletes the secrets whose time is over.</summary>
    internal void ForgetFormerSecrets(DateTimeOffset now) => database.Write(connection =>
        connection.Execute("UPDATE webhooks SET former_secret = NULL, former_until = NULL WHERE former_until <= ?1", now));

    internal void DisableWebhook(string id, string why, DateTimeOffset now) => database.Write(connection =>
        connection.Execute("UPDATE webhooks SET disabled = ?3, disabled_why = ?2 WHERE id = ?1 AND disabled IS NULL", id, why, now));

    /// <summary>Moves a target on over events that are none of its business.</summary>
    internal void MoveWebhook(string id, long cursor) => database.Write(connection =>
        connection.Execute("UPDATE webhooks SET cursor = ?2 WHERE id = ?1", id, cursor));

    /// <summary>Notes what came of a try: where the target stands, and the event's row.</summary>
    internal void SettleWebhook(string id, long cursor, WebhookFailing failing, WebhookDelivery delivery) => database.Write(connection =>
    {
        if (connection.Execute(
            "UPDATE webhooks SET cursor = ?2, failures = ?3, failing_since = ?4, next_attempt = ?5 WHERE id = ?1",
            id, cursor, failing.Failures, failing.Since, failing.NextAttemptAt) == 0)
        {
            return; // Removed while the event was under way.
        }

        connection.Execute(
            $"INSERT OR REPLACE INTO webhook_deliveries (webhook, {DeliveryColumns}) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
            id, delivery.Position, delivery.Message, delivery.Alert, delivery.Type, delivery.State, delivery.Attempts, delivery.FirstAt, delivery.LastAt,
            delivery.Status, delivery.Detail);
        connection.Execute(
            """
            DELETE FROM webhook_deliveries WHERE webhook = ?1 AND state = ?2 AND position <=
                (SELECT position FROM webhook_deliveries WHERE webhook = ?1 AND state = ?2 ORDER BY position DESC LIMIT 1 OFFSET ?3)
            """,
            id, delivery.State, DeliveriesKept);
    });

    internal WebhookDelivery? FindDelivery(string id, long position) => database.Read(connection => connection.Find(
        $"SELECT {DeliveryColumns} FROM webhook_deliveries WHERE webhook = ?1 AND position = ?2", DeliveryOf, id, position));

    /// <param name="id">The target.</param>
    /// <param name="state">Of <see cref="DeliveryStates"/>; null for all.</param>
    /// <param name="before">A position; what comes after it is left out.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>Newest event first.</returns>
    public IReadOnlyList<WebhookDelivery> ListDeliveries(string id, string? state, long before, int limit) => database.Read(connection => connection.List(
        $"SELECT {DeliveryColumns} FROM webhook_deliveries WHERE webhook = ?1 AND (?2 IS NULL OR state = ?2) AND position < ?3 ORDER BY position DESC LIMIT ?4",
        DeliveryOf, id, state, before, limit));

    private static Webhook WebhookOf(SqliteDataReader row) => new(
        row.GetString(0), row.GetString(1), row.TextOrNull(2) is { } site ? new SiteId(site) : null, row.GetString(3), row.TextOrNull(4), row.TimeOrNull(5),
        row.Time(6), row.GetInt64(7), new(row.GetInt32(8), row.TimeOrNull(9), row.TimeOrNull(10)), row.TimeOrNull(11), row.TextOrNull(12));

    private static WebhookDelivery DeliveryOf(SqliteDataReader row) => new(
        row.GetInt64(0), row.GetString(1), row.GetString(2), row.GetString(3), row.GetString(4), row.GetInt32(5), row.Time(6), row.Time(7),
        row.IsDBNull(8) ? null : row.GetInt32(8), row.GetString(9));
}
