using System.Globalization;
using MimeKit;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Own;

/// <summary>Where the letters of the service's own site end; all others go on.</summary>
internal sealed class OwnTransport(IMailTransport others, LedgerStore ledger, Func<SelfWatch> watch) : IMailTransport
{
    public Task<string?> OpenAsync(CancellationToken stop) => others.OpenAsync(stop);

    public Task RestAsync() => others.RestAsync();

    public Task<MailOutcome> SendAsync(string key, MimeMessage message, CancellationToken stop)
    {
        if (!message.To.Mailboxes.Any(mailbox => mailbox.Address == OwnSite.Address))
        {
            return others.SendAsync(key, message, stop);
        }

        // The key of an intention is made of the alert, the number of its event, and the person.
        if (key.Split('.') is [var id, var number, _] && ledger.FindAlert(id) is { } alert
            && alert.Notices.FirstOrDefault(notice => notice.Number == int.Parse(number, CultureInfo.InvariantCulture)) is { } notice)
        {
            watch().Arrived(alert, notice.Reason);
        }

        return Task.FromResult<MailOutcome>(new MailOutcome.Sent());
    }
}
