using MimeKit;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Storage;

namespace TankWatch.Service.Tests.Mail;

internal static class Letters
{
    public static OutboxLetter Letter(
        Rig rig, string key = "a1.1", NotifyReason reason = NotifyReason.Opened, string site = "Alder Row", string name = "Caretaker",
        string? email = "caretaker@example.org", params string[] thread) => new(
        new Notification(key, [.. thread], reason, new Contact(name, email, null, "caretaker", "en"), StoredJsonTests.SampleAlert()),
        rig.Composer.MessageIdOf(key, "test"), site, "Asia/Kathmandu");

    /// <summary>A letter about one of many alerts: its device is <c>d</c> and its number.</summary>
    public static OutboxLetter OfMany(
        Rig rig, int alert, string email, NotifyReason reason = NotifyReason.Opened, Priority priority = Priority.Medium, DateTimeOffset? notBefore = null, int number = 1, params string[] thread)
    {
        var sample = StoredJsonTests.SampleAlert($"m{alert:0000}");
        var finding = sample.Finding with { Device = new($"d{alert:0000}"), Priority = priority, ClearedAt = reason == NotifyReason.Cleared ? rig.Time.GetUtcNow() : null };
        var state = reason == NotifyReason.Cleared ? AlertState.Normal : AlertState.Unacknowledged;
        var key = $"m{alert:0000}.{number}.p";
        return new(
            new Notification(key, [.. thread], reason, new Contact("Reader", email, null, "caretaker", "en"), sample with { Finding = finding, State = state }) { NotBefore = notBefore },
            rig.Composer.MessageIdOf(key, "test"), "Alder Row", "Asia/Kathmandu");
    }

    /// <summary>Puts letters in the outbox, and their alerts as they stand in them in the store.</summary>
    public static void PostWithAlerts(Rig rig, params OutboxLetter[] letters) => rig.Database.Write(connection =>
    {
        foreach (var alert in letters.Select(letter => letter.Notification.Alert))
        {
            var events = 1 + (int)(long)connection.Scalar("SELECT count(*) FROM alert_events WHERE alert = ?1", alert.Id)!;
            LedgerStore.Append(connection, [alert with { Events = events }], [new AlertNoted(alert.Id, rig.Time.GetUtcNow(), "test", "posted")]);
        }

        LedgerStore.Post(connection, letters, rig.Time.GetUtcNow());
    });

    /// <summary>The mail of one letter, without links.</summary>
    public static MimeMessage? TryCompose(this MailComposer composer, OutboxLetter letter, IReadOnlyList<string> thread, DateTimeOffset createdAt, out string? fault) =>
        composer.TryCompose(MailWords.Of(letter, thread, createdAt, null), out fault);

    /// <summary>Puts letters in the outbox of a store with a site and an alert.</summary>
    public static void Post(Rig rig, params OutboxLetter[] letters)
    {
        rig.Put(SampleSite.Json());
        rig.Database.Write(connection =>
        {
            var alert = StoredJsonTests.SampleAlert();
            if (rig.Ledger.FindAlert(alert.Id) is null)
            {
                LedgerStore.Append(connection, [alert], [new AlertRaised(alert.Id, alert.CreatedAt, alert.Site, alert.Finding)]);
            }

            LedgerStore.Post(connection, letters, rig.Time.GetUtcNow());
        });
    }
}
