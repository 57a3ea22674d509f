using MimeKit;
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
                LedgerStore.Append(connection, [alert], [new Core.Alerts.AlertRaised(alert.Id, alert.CreatedAt, alert.Site, alert.Finding)]);
            }

            LedgerStore.Post(connection, letters, rig.Time.GetUtcNow());
        });
    }
}
