using System.Net;
using Lib.Net.Http.WebPush;
using Lib.Net.Http.WebPush.Authentication;
using TankWatch.Service.Configuration;
using TankWatch.Service.Operation;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Push;

/// <summary>The way to push services. Browsers name theirs, so it leads to public hosts only unless targets within one's own network are allowed.</summary>
internal sealed partial class PushClient : IDisposable
{
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(15);

    private readonly LedgerStore ledger;
    private readonly MailOptions mail;
    private readonly ILogger<PushClient> logger;
    private readonly HttpClient http;
    private readonly PushServiceClient sender;
    private readonly Lazy<PushKeys> keys;

    public PushClient(LedgerStore ledger, WebhookOptions options, MailOptions mail, ILogger<PushClient> logger)
    {
        (this.ledger, this.mail, this.logger) = (ledger, mail, logger);
        http = new(PublicOnlyHandler.Create(options.AllowPrivateTargets)) { Timeout = Patience, MaxResponseContentBufferSize = 64 * 1024 };
        sender = new(http) { AutoRetryAfter = false }; // The mail does not wait for it.
        keys = new(ledger.GetPushKeys);
    }

    public PushKeys Keys => keys.Value;

    /// <summary>Hands a message to a browser's push service. A browser that is gone for ever is forgotten.</summary>
    /// <param name="browser">To show it.</param>
    /// <param name="content">What <c>sw.js</c> reads; with what sealing adds a message may have 4096 bytes (RFC 8291, 4).</param>
    /// <param name="urgency">Whether it is worth waking a phone that saves power (RFC 8030, 5.3).</param>
    /// <param name="stop">Gives up.</param>
    /// <returns>Why it was not taken, in one line; null when it was.</returns>
    public async Task<string?> SendAsync(PushSubscriber browser, string content, PushMessageUrgency urgency, CancellationToken stop)
    {
        try
        {
            using var known = new VapidAuthentication(Keys.Public, Keys.Private) { Subject = $"mailto:{MimeKit.MailboxAddress.Parse(mail.From).Address}" };
            var subscription = new PushSubscription { Endpoint = browser.Endpoint };
            subscription.SetKey(PushEncryptionKeyName.P256DH, browser.P256dh);
            subscription.SetKey(PushEncryptionKeyName.Auth, browser.Auth);
            var message = new PushMessage(content)
            {
                TimeToLive = (int)LedgerStore.ReceiptPatience.TotalSeconds, // Later the mail has said it.
                Urgency = urgency,
            };
            await sender.RequestPushMessageDeliveryAsync(subscription, message, known, VapidAuthenticationScheme.Vapid, stop);
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

    public void Dispose() => http.Dispose();

    [LoggerMessage(Level = LogLevel.Warning, Message = "browser {Browser} could not be reached: {Reason}")]
    private partial void LogNotTaken(string browser, string reason);
}
