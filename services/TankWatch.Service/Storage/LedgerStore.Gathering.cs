namespace TankWatch.Service.Storage;

public sealed partial class LedgerStore
{
    /// <summary>Notes of all letters that could go now, and were not tried, that no mail can leave. Those to the service itself need no way out.</summary>
    internal void MarkOutage(DateTimeOffset now) => database.Write(connection => connection.Execute(
        $"""
        UPDATE outbox SET waited_for = 'outage'
        WHERE next_attempt <= ?1 AND attempts = 0 AND waited_for IS NOT 'outage' AND alert IS NOT NULL AND recipient <> '{Own.OwnSite.Address}'
        """,
        now));

    /// <summary>When a person was last sent mails that count for the cap, the oldest first: not the critical, nor those about visits. What a browser showed instead of a mail is none.</summary>
    /// <param name="person">By address.</param>
    /// <param name="after">UTC, excluded.</param>
    /// <param name="now">Sent later, by a clock that was set back since: not counted.</param>
    internal IReadOnlyList<DateTimeOffset> ListSendings(string person, DateTimeOffset after, DateTimeOffset now) => database.Read(connection => connection.List(
        "SELECT sent_at FROM outbox WHERE recipient = ?1 COLLATE NOCASE AND sent_at > ?2 AND sent_at <= ?3 AND critical = 0 AND visit IS NULL AND attempts > 0 ORDER BY sent_at",
        row => row.Time(0), person, after, now));

    /// <summary>Holds back what would be one mail too many, until a time.</summary>
    internal void Hold(IReadOnlyCollection<OutboxEntry> entries, DateTimeOffset until) => database.Write(connection =>
    {
        foreach (var entry in entries)
        {
            connection.Execute(
                "UPDATE outbox SET next_attempt = ?2, waited_for = coalesce(waited_for, 'cap') WHERE n = ?1 AND key = ?3 AND next_attempt IS NOT NULL", entry.Position, until, entry.Key);
        }

        return entries.Count;
    });

    /// <summary>Makes one mail of several letters. On disk before it is sent, so that a crash repeats this mail and not another one.</summary>
    internal OutboxEntry Gather(GatheredMail mail, IReadOnlyList<OutboxEntry> members, DateTimeOffset now) => database.Write(connection =>
    {
        Insert(connection, mail, null, GatheredReason, StoredJson.Write(mail), now, now, members[0].Trace, members.Any(member => member.IsCritical));
        var entry = connection.Find($"SELECT {OutboxColumns} FROM outbox WHERE key = ?1", EntryOf, mail.Key)!;
        foreach (var member in members)
        {
            connection.Execute("UPDATE outbox SET gathered_in = ?2, next_attempt = NULL WHERE n = ?1 AND key = ?3 AND next_attempt IS NOT NULL", member.Position, entry.Position, member.Key);
        }

        return entry;
    });

    /// <returns>The letters that a mail gathers, in the order of their intention.</returns>
    internal IReadOnlyList<OutboxEntry> ListMembers(OutboxEntry gathered) => database.Read(connection => connection.List(
        $"SELECT {OutboxColumns} FROM outbox WHERE gathered_in = ?1 ORDER BY n", EntryOf, gathered.Position));
}
