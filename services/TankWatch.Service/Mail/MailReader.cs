using TankWatch.Core.Alerts;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>Reads what a mail of the outbox is to say now: a thread's earlier mails, and what became of the alerts that a mail gathers.</summary>
internal static class MailReader
{
    /// <returns>Null when there is nothing left to say, since all it was about was deleted.</returns>
    public static MailText? Read(OutboxEntry entry, LedgerStore ledger, MailLinks? links) => entry.Mail switch
    {
        OutboxLetter letter => MailWords.Of(letter, ledger.ListMessageIds(letter.Notification.ThreadKeys), entry.CreatedAt, links),
        GatheredMail gathered => AlertsOf(entry, ledger) is { Count: > 0 } alerts ? GatheredWords.Of(gathered, alerts, entry.CreatedAt, links) : null,
        DigestMail digest => DigestWords.Of(digest, entry.CreatedAt, links),
        _ => throw new ArgumentOutOfRangeException(nameof(entry)),
    };

    private static List<GatheredAlert> AlertsOf(OutboxEntry entry, LedgerStore ledger) =>
        [.. ledger.ListMembers(entry).GroupBy(member => member.Letter.Notification.Alert.Id, StringComparer.Ordinal).Select(letters =>
        {
            var newest = letters.Last();
            return new GatheredAlert(ledger.FindAlert(letters.Key) ?? newest.Letter.Notification.Alert, newest.Letter, newest.CreatedAt);
        })];
}

/// <summary>An alert of which a mail tells together with others.</summary>
/// <param name="Now">As it is now.</param>
/// <param name="Newest">The newest letter about it.</param>
/// <param name="CreatedAt">Of that letter.</param>
public sealed record GatheredAlert(Alert Now, OutboxLetter Newest, DateTimeOffset CreatedAt)
{
    public bool Holds => Now.IsOpen && Now.Finding.IsOpen;
}
