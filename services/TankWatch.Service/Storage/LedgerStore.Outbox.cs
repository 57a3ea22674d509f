using System.Globalization;
using System.Text.Json;
using Microsoft.Data.Sqlite;
using TankWatch.Core.Findings;

namespace TankWatch.Service.Storage;

public sealed partial class LedgerStore
{
    private const string GatheredReason = "gathered";
    private const string DigestReason = "digest";

    private const string OutboxColumns = "n, reason, json, created, attempts, next_attempt, sent_at, abandoned_at, last_error, trace, critical, waited_for, gathered_in";

    /// <param name="after">An <see cref="OutboxEntry.Position"/> in text; null for the newest.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>Letters about one alert each, newest first.</returns>
    public IReadOnlyList<OutboxEntry> ListOutbox(string? after, int limit) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns} FROM outbox WHERE n < ?1 AND alert IS NOT NULL AND recipient <> '{Own.OwnSite.Address}' ORDER BY n DESC LIMIT ?2",
        EntryOf, long.TryParse(after, CultureInfo.InvariantCulture, out var position) ? position : long.MaxValue, limit));

    /// <returns>Letters about one alert, in the order of their intention.</returns>
    public IReadOnlyList<OutboxEntry> ListLettersOf(string alert) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns} FROM outbox WHERE alert = ?1 ORDER BY n", EntryOf, alert));

    /// <summary>The letter of an intention, with how far it has come; null when there is none, or it is of no one alert.</summary>
    public OutboxEntry? FindLetter(string key) => database.Read(connection => connection.Find(
        $"SELECT {OutboxColumns} FROM outbox WHERE key = ?1 AND alert IS NOT NULL", EntryOf, key));

    /// <summary>Addresses for which something is due, in lower case: first those for whom something critical is, then by who waits longest.</summary>
    internal IReadOnlyList<string> ListDuePeople(DateTimeOffset now, int limit) => database.Read(connection => connection.List(
        "SELECT lower(recipient) FROM outbox WHERE next_attempt <= ?1 GROUP BY 1 ORDER BY max(critical) DESC, min(n) LIMIT ?2", row => row.GetString(0), now, limit));

    /// <summary>What is due for one person, in the order of its intention: a thread's opening goes before its ending.</summary>
    internal IReadOnlyList<OutboxEntry> ListDue(string person, DateTimeOffset now, int limit) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns} FROM outbox WHERE next_attempt <= ?1 AND recipient = ?2 COLLATE NOCASE ORDER BY n LIMIT ?3", EntryOf, now, person, limit));

    /// <summary>All that is due and was intended before a time.</summary>
    internal IReadOnlyList<OutboxEntry> ListOverdue(DateTimeOffset now, DateTimeOffset createdBefore) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns} FROM outbox WHERE next_attempt <= ?1 AND created <= ?2 ORDER BY n", EntryOf, now, createdBefore));

    /// <summary>When the next letter wants to be tried; null when none waits.</summary>
    internal DateTimeOffset? FindNextAttempt() => database.Read(connection =>
        connection.Scalar("SELECT min(next_attempt) FROM outbox WHERE next_attempt IS NOT NULL") is long ticks ? new DateTimeOffset(ticks, TimeSpan.Zero) : (DateTimeOffset?)null);

    /// <summary>The Message-IDs under which earlier intentions went, each once, in the order asked; those not found are left out.</summary>
    internal IReadOnlyList<string> ListMessageIds(IEnumerable<string> keys) => database.Read(connection => keys
        .Select(key => connection.Scalar(
            "SELECT coalesce(g.message_id, o.message_id) FROM outbox o LEFT JOIN outbox g ON g.n = o.gathered_in WHERE o.key = ?1", key) as string)
        .OfType<string>().Distinct(StringComparer.Ordinal).ToList());

    /// <summary>On disk before a try: a mail that may have arrived is never said in another one, even if the process dies before it knows.</summary>
    internal void MarkTried(OutboxEntry entry) => database.Write(connection => connection.Execute(
        "UPDATE outbox SET attempts = ?2 WHERE n = ?1 AND key = ?3", entry.Position, entry.Attempts + 1, entry.Key));

    /// <summary>The try did not even reach a server.</summary>
    internal void MarkUntried(OutboxEntry entry) => database.Write(connection => connection.Execute(
        "UPDATE outbox SET attempts = ?2 WHERE n = ?1 AND key = ?3", entry.Position, entry.Attempts, entry.Key));

    // By key too: while a letter was under way, a restored backup may have given its number to another one. What a mail gathers shares its fate.
    internal void MarkSent(OutboxEntry entry, DateTimeOffset at) => database.Write(connection =>
        connection.Execute("UPDATE outbox SET next_attempt = NULL, sent_at = ?2, last_error = NULL WHERE n = ?1 AND key = ?3", entry.Position, at, entry.Key)
        + (entry.Mail is GatheredMail ? connection.Execute("UPDATE outbox SET sent_at = ?2 WHERE gathered_in = ?1", entry.Position, at) : 0));

    internal void MarkFailed(OutboxEntry entry, string error, DateTimeOffset nextAttempt) => database.Write(connection => connection.Execute(
        "UPDATE outbox SET next_attempt = ?2, last_error = ?3 WHERE n = ?1 AND key = ?4", entry.Position, nextAttempt, error, entry.Key));

    internal void MarkAbandoned(OutboxEntry entry, string error, DateTimeOffset at) => database.Write(connection =>
        connection.Execute(
            "UPDATE outbox SET next_attempt = NULL, abandoned_at = ?2, last_error = ?3 WHERE n = ?1 AND key = ?4", entry.Position, at, error, entry.Key)
        + (entry.Mail is GatheredMail ? connection.Execute("UPDATE outbox SET abandoned_at = ?2, last_error = ?3 WHERE gathered_in = ?1", entry.Position, at, error) : 0));

    /// <summary>The wall clock was set: what waits for another try, or for the cap, waits on for as long. The end of quiet hours is on the wall.</summary>
    internal static void MoveOutbox(SqliteConnection connection, TimeSpan by) => connection.Execute(
        "UPDATE outbox SET next_attempt = next_attempt + ?1 WHERE next_attempt IS NOT NULL AND (attempts > 0 OR waited_for = 'cap')", by.Ticks);

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
            Insert(
                connection, letter, notice.Alert.Id, Stored(notice.Reason), StoredJson.Write(letter), now, notice.NotBefore ?? now, traceOf?.Invoke(notice.Alert.Id),
                notice.Alert.Gravity == Priority.Critical);
            PushFirst(connection, notice.Key, notice.To.Email, notice.NotBefore ?? now);
        }
    }

    /// <exception cref="StoreException">The row was not written by this program.</exception>
    internal static IOutboxMail MailOf(string reason, string json) => reason switch
    {
        GatheredReason => StoredJson.Read<GatheredMail>(json),
        VisitReason => StoredJson.Read<VisitMail>(json),
        DigestReason => StoredJson.Read<DigestMail>(json),
        _ => StoredJson.Read<OutboxLetter>(json),
    };

    /// <summary>An intention that stands there already is left as it is.</summary>
    private static void Insert(
        SqliteConnection connection, IOutboxMail mail, string? alert, string reason, string json, DateTimeOffset now, DateTimeOffset due, string? trace, bool critical) => connection.Execute(
        """
        INSERT INTO outbox (key, alert, reason, recipient, message_id, json, created, next_attempt, trace, critical) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)
        ON CONFLICT (key) DO NOTHING
        """,
        mail.Key, alert, reason, mail.To.Email ?? "", mail.MessageId, json, now, due, trace, critical);

    private static string Stored<T>(T name) where T : struct, Enum => JsonNamingPolicy.KebabCaseLower.ConvertName(name.ToString());

    private static OutboxEntry EntryOf(SqliteDataReader row) => new(
        row.GetInt64(0), MailOf(row.GetString(1), row.GetString(2)), row.Time(3), row.GetInt32(4), row.TimeOrNull(5), row.TimeOrNull(6),
        row.TimeOrNull(7), row.TextOrNull(8), row.TextOrNull(9), row.GetBoolean(10), row.TextOrNull(11) switch { "outage" => WaitReason.Outage, "cap" => WaitReason.Cap, _ => null },
        row.IsDBNull(12) ? null : row.GetInt64(12));
}
