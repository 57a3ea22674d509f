using Lib.Net.Http.WebPush;
using TankWatch.Service.Configuration;
using TankWatch.Service.Operation;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Push;

/// <summary>The way to push services. Browsers name theirs, so it leads to public hosts only unless targets within one's own network are allowed.</summary>
internal sealed class PushClient : IDisposable
{
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(15);

    private readonly HttpClient http;
    private readonly Lazy<PushKeys> keys;

    public PushClient(LedgerStore ledger, WebhookOptions options)
    {
        http = new(PublicOnlyHandler.Create(options.AllowPrivateTargets)) { Timeout = Patience, MaxResponseContentBufferSize = 64 * 1024 };
        keys = new(ledger.GetPushKeys);
        Sender = new(http) { AutoRetryAfter = false }; // The mail does not wait for it.
    }

    public PushServiceClient Sender { get; }

    public PushKeys Keys => keys.Value;

    public void Dispose() => http.Dispose();
}
