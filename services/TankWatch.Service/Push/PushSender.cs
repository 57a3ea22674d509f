using System.Net;
using System.Text.Json;
using Lib.Net.Http.WebPush;
using Lib.Net.Http.WebPush.Authentication;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;
using TankWatch.Service.Configuration;
using TankWatch.Service.Mail;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Push;

/// <summary>
/// Sends letters to the browsers of their recipients, before their mail: a phone shows an alert within seconds. A browser that shows one
/// sends a receipt and the mail is not needed; without a receipt it goes after a minute. Push is an offer, mail is the promise.
/// </summary>
internal sealed partial class PushSender(
    LedgerStore ledger, MailOptions mail, PushClient client, OutboxBell bell, AlertBell rung, ServiceMetrics metrics, TimeProvider time, ILogger<PushSender> logger) : BackgroundService
{
    private const int RoundSize = 50;
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(2);

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        await Task.Yield();
        while (!stoppingToken.IsCancellationRequested)
        {
            try
            {
                var heard = rung.Next;
                await SendDueAsync(stoppingToken);
                await Task.WhenAny(heard, Task.Delay(LookEvery, time, stoppingToken));
            }
            catch (Exception fault) when (fault is Microsoft.Data.Sqlite.SqliteException or StoreException)
            {
                LogStoreFailed(fault);
                await Task.Delay(LookEvery, time, stoppingToken).ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
            }
            catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
            {
                // Going down. What was not marked goes again.
            }
        }
    }

    /// <summary>Sends what is due, each letter to all browsers of its recipient at once.</summary>
    internal async Task SendDueAsync(CancellationToken stop)
    {
        foreach (var push in ledger.ListDuePushes(time.GetUtcNow(), RoundSize))
        {
            var faults = await Task.WhenAll(push.Browsers.Select(browser => SendAsync(push, browser, stop)));
            if (faults.Contains(null))
            {
                ledger.MarkPushed(push);
                metrics.PushSent();
            }
            else
            {
                ledger.MarkUnpushed(push, faults is [{ } first, ..] ? first : "there is no browser any more", time.GetUtcNow());
                bell.Ring();
            }
        }
    }

    /// <returns>Why it was not taken, in one line; null when it was.</returns>
    private async Task<string?> SendAsync(DuePush push, PushSubscriber browser, CancellationToken stop)
    {
        var notice = push.Entry.Letter.Notification;
        try
        {
            using var keys = new VapidAuthentication(client.Keys.Public, client.Keys.Private) { Subject = $"mailto:{MimeKit.MailboxAddress.Parse(mail.From).Address}" };
            var subscription = new PushSubscription { Endpoint = browser.Endpoint };
            subscription.SetKey(PushEncryptionKeyName.P256DH, browser.P256dh);
            subscription.SetKey(PushEncryptionKeyName.Auth, browser.Auth);
            var message = new PushMessage(ContentOf(push))
            {
                TimeToLive = (int)LedgerStore.ReceiptPatience.TotalSeconds, // Later the mail has said it.
                Urgency = notice.Alert.Gravity >= Priority.High ? PushMessageUrgency.High : PushMessageUrgency.Normal,
            };
            await client.Sender.RequestPushMessageDeliveryAsync(subscription, message, keys, VapidAuthenticationScheme.Vapid, stop);
            return null;
        }
        catch (PushServiceClientException refusal)
        {
            if (refusal.StatusCode is HttpStatusCode.NotFound or HttpStatusCode.Gone)
            {
                ledger.RemoveSubscriber(browser.Id); // RFC 8030, 7.3: it will never be there again.
            }

            return $"the push service answered {(int)refusal.StatusCode}";
        }
        catch (Exception fault) when (fault is HttpRequestException or IOException or FormatException or ArgumentException or System.Security.Cryptography.CryptographicException
            || (fault is OperationCanceledException && !stop.IsCancellationRequested))
        {
            LogNotTaken(browser.Id, Database.OneLine(fault));
            return Database.OneLine(fault);
        }
    }

    /// <summary>What the browser is to show, and where it leads; short, since a message may have 4096 bytes (RFC 8291, 4).</summary>
    private static string ContentOf(DuePush push)
    {
        var (letter, language) = (push.Entry.Letter, Languages.Of(push.Entry.Letter.Notification.To.Language));
        var alert = letter.Notification.Alert;
        var zone = TimeZoneInfo.TryFindSystemTimeZoneById(letter.TimeZone, out var found) ? found : TimeZoneInfo.Utc;
        return JsonSerializer.Serialize(new Dictionary<string, string>
        {
            ["title"] = MailWords.OneLine(MailWords.Subject(letter, language, isReply: false), 120),
            ["body"] = MailWords.OneLine(language.Say(MailWords.Opening(letter.Notification, zone)), 200) + "\n" + MailWords.OneLine(language.Say(alert.Finding.Text.Summary), 400),
            ["tag"] = alert.Id,
            ["address"] = $"/alerts/{alert.Id}",
            ["receipt"] = $"/push/receipts/{push.Token}",
            ["lang"] = language.Tag,
            ["dir"] = language.IsRightToLeft ? "rtl" : "ltr",
        });
    }

    [LoggerMessage(Level = LogLevel.Warning, Message = "browser {Browser} could not be reached: {Reason}")]
    private partial void LogNotTaken(string browser, string reason);

    [LoggerMessage(Level = LogLevel.Error, Message = "the outbox cannot be read")]
    private partial void LogStoreFailed(Exception fault);
}
