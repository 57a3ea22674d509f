using System.Security.Cryptography;
using TankWatch.Core;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Webhooks;

/// <summary>Adds targets, for API and command alike.</summary>
internal sealed class WebhookDesk(LedgerStore ledger, WebhookOptions options)
{
    /// <summary>So long the secret before signs too, once it was changed.</summary>
    public static readonly TimeSpan BothSecretsFor = TimeSpan.FromHours(24);

    /// <param name="url">Where to.</param>
    /// <param name="site">Of this site alone; null for all.</param>
    /// <param name="now">UTC.</param>
    public AddedWebhook Add(string url, SiteId? site, DateTimeOffset now)
    {
        if (WebhookUrl.FaultOf(url, options) is { } fault)
        {
            return new AddedWebhook.BadAddress(fault);
        }

        var id = "wh_" + Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(8));
        return ledger.AddWebhook(id, url, site, WebhookSignature.NewSecret(), now) is { } refusal
            ? new AddedWebhook.Refused(refusal)
            : new AddedWebhook.Added(ledger.FindWebhook(id)!);
    }
}

/// <summary>A new target, or why there is none.</summary>
internal abstract record AddedWebhook
{
    public sealed record Added(Webhook Webhook) : AddedWebhook;

    /// <param name="Fault">One sentence.</param>
    public sealed record BadAddress(string Fault) : AddedWebhook;

    /// <param name="Fault">One line.</param>
    public sealed record Refused(string Fault) : AddedWebhook;
}
