using System.Globalization;
using Microsoft.Data.Sqlite;
using TankWatch.Core.Notifications;

namespace TankWatch.Service.Storage;

public sealed partial class LedgerStore
{
    private const string OutboxColumns = "n, reason, json, created, attempts, next_attempt, sent_at, abandoned_at, last_error, trace";

    /// <param name="after">An <see cref="OutboxEntry.Position"/> in text; null for the newest.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>Letters about one alert each, newest first.</returns>
    public IReadOnlyList<OutboxEntry> ListOutbox(string? after, int limit) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns} FROM outbox WHERE n < ?1 AND alert IS NOT NULL AND recipient <> '{Own.OwnSite.Address}' ORDER BY n DESC LIMIT ?2",
        EntryOf, long.TryParse(after, CultureInfo.InvariantCulture, out var position) ? position : long.MaxValue, limit));

    /// <returns>Letters about one alert, in the order of their intention.</returns>
    public IReadOnlyList<OutboxEntry> ListLettersOf(string alert) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns} FROM outbox WHERE alert = ?1 ORDER BY n", EntryOf, alert));

    /// <summary>Letters to try now, in the order of their intention: a thread's opening goes before its ending.</summary>
    internal IReadOnlyList<OutboxEntry> ListDue(DateTimeOffset now, int limit) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns} FROM outbox WHERE next_attempt <= ?1 ORDER BY n LIMIT ?2", EntryOf, now, limit));

    /// <summary>When the next letter wants to be tried; null when none waits.</summary>
    internal DateTimeOffset? FindNextAttempt() => database.Read(connection =>
        connection.Scalar("SELECT min(next_attempt) FROM outbox WHERE next_attempt IS NOT NULL") is long ticks ? new DateTimeOffset(ticks, TimeSpan.Zero) : (DateTimeOffset?)null);

    /// <summary>The Message-IDs under which earlier intentions went, in the order asked; those not found are left out.</summary>
    internal IReadOnlyList<string> ListMessageIds(IEnumerable<string> keys) => database.Read(connection => keys
        .Select(key => connection.Scalar("SELECT message_id FROM outbox WHERE key = ?1", key) as string).OfType<string>().ToList());

    // By key too: while a letter was under way, a restored backup may have given its number to another one.
    internal void MarkSent(OutboxEntry entry, DateTimeOffset at) => database.Write(connection => connection.Execute(
        "UPDATE outbox SET attempts = attempts + 1, next_attempt = NULL, sent_at = ?2, last_error = NULL WHERE n = ?1 AND key = ?3", entry.Position, at, entry.Key));

    internal void MarkFailed(OutboxEntry entry, string error, DateTimeOffset nextAttempt) => database.Write(connection => connection.Execute(
        "UPDATE outbox SET attempts = attempts + 1, next_attempt = ?2, last_error = ?3 WHERE n = ?1 AND key = ?4", entry.Position, nextAttempt, error, entry.Key));

    internal void MarkAbandoned(OutboxEntry entry, string error, DateTimeOffset at) => database.Write(connection => connection.Execute(
        "UPDATE outbox SET attempts = attempts + 1, next_attempt = NULL, abandoned_at = ?2, last_error = ?3 WHERE n = ?1 AND key = ?4", entry.Position, at, error, entry.Key));

    /// <summary>The wall clock was set: what waits for another try waits on for as long. The end of quiet hours is on the wall.</summary>
    internal static void MoveOutbox(SqliteConnection connection, TimeSpan by) => connection.Execute(
        "UPDATE outbox SET next_attempt = next_attempt + ?1 WHERE next_attempt IS NOT NULL AND attempts > 0", by.Ticks);

    /// <summary>Puts letters in the outbox; call it in the transaction of the alert events they follow from.</summary>
    /// <param name="connection">In that transaction.</param>
    /// <param name="letters">To add.</param>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="traceOf">The span that led to a letter, by the id of its alert, as <see cref="OutboxEntry.Trace"/>; null when nobody traces.</param>
    internal static void Post(SqliteConnection connection, IEnumerable<OutboxLetter> letters, DateTimeOffset now, Func<string, string?>? traceOf = null)
    {
        foreach (var letter in letters)
        {
            var notice = letter.Notification;
            connection.Execute(
                """
                INSERT INTO outbox (key, alert, reason, recipient, message_id, json, created, next_attempt, trace) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)
                ON CONFLICT (key) DO NOTHING
                """,
                notice.Key, notice.Alert.Id, StoredReason(notice.Reason), notice.To.Email ?? "", letter.MessageId, StoredJson.Write(letter), now, notice.NotBefore ?? now, traceOf?.Invoke(notice.Alert.Id));
            PushFirst(connection, notice.Key, notice.To.Email, notice.NotBefore ?? now);
        }
    }

    /// <exception cref="StoreException">The row was not written by this program.</exception>
    internal static IOutboxMail MailOf(string reason, string json) => reason switch
    {
        VisitReason => StoredJson.Read<VisitMail>(json),
        _ => StoredJson.Read<OutboxLetter>(json),
    };

    private static string StoredReason(NotifyReason reason) => System.Text.Json.JsonNamingPolicy.KebabCaseLower.ConvertName(reason.ToString());

    private static OutboxEntry EntryOf(SqliteDataReader row) => new(
        row.GetInt64(0), MailOf(row.GetString(1), row.GetString(2)), row.Time(3), row.GetInt32(4), row.TimeOrNull(5), row.TimeOrNull(6),
        row.TimeOrNull(7), row.TextOrNull(8), row.TextOrNull(9));
}
