using Lib.Net.Http.WebPush;
using TankWatch.Service.Mail;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Push;

/// <summary>
/// Sends letters to the browsers of their recipients, before their mail: a phone shows an alert within seconds. A browser that shows one
/// sends a receipt and the mail is not needed; without a receipt it goes after a minute. Push is an offer, mail is the promise.
/// </summary>
internal sealed partial class PushSender(
    LedgerStore ledger, PushClient client, MailLinks links, OutboxBell bell, AlertBell rung, ServiceMetrics metrics, TimeProvider time, ILogger<PushSender> logger) : BackgroundService
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

    private Task<string?> SendAsync(DuePush push, PushSubscriber browser, CancellationToken stop) => client.SendAsync(
        browser, PushContent.Of(push, browser, links), PushContent.IsGrave(push.Entry.Letter.Notification.Alert.Gravity) ? PushMessageUrgency.High : PushMessageUrgency.Normal, stop);

    [LoggerMessage(Level = LogLevel.Error, Message = "the outbox cannot be read")]
    private partial void LogStoreFailed(Exception fault);
}
