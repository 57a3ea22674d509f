using System.ComponentModel;
using System.Text.Json.Serialization;
using TankWatch.Service.Storage;
using TankWatch.Service.Webhooks;

namespace TankWatch.Service.Api.Contract;

[Description("A program elsewhere that is told of events of alerts.")]
public record WebhookJson(
    string Id,
    string Url,
    [property: Description("Of this site alone; null for all.")] string? Site,
    DateTimeOffset CreatedAt,
    [property: Description("closed while the target is well; open after several failures in a row, until one try shows how it is (half-open).")] string Circuit,
    [property: Description("Since when nothing was taken; null when the last event was.")] DateTimeOffset? FailingSince,
    [property: Description("Not before; null when nothing waits for a time.")] DateTimeOffset? NextAttemptAt,
    DateTimeOffset? DisabledAt,
    [property: Description("Why it gets no more events; null while it does.")] string? DisabledWhy,
    [property: Description("Until then the secret before the last change signs too; null when there is none.")] DateTimeOffset? FormerSecretUntil)
{
    public static WebhookJson Of(Webhook hook, DateTimeOffset now) => new(
        hook.Id, hook.Url, hook.Site?.Value, hook.CreatedAt, WebhookRetry.Circuit(hook.Failing, now), hook.Failing.Since, hook.Failing.NextAttemptAt,
        hook.DisabledAt, hook.DisabledWhy, hook.FormerUntil > now ? hook.FormerUntil : null);
}

[Description("A webhook and its secret, which is shown this once.")]
public sealed record WebhookSecretJson(
    [property: Description("whsec_ and base64; verifies the header webhook-signature.")] string Secret,
    WebhookJson Webhook);

[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record NewWebhookJson(
    [property: Description("Begins with https://.")] string Url,
    [property: Description("Of this site alone; without it, of all that the key sees.")] string? Site = null);

[Description("One event on its way to one target.")]
public sealed record WebhookDeliveryJson(
    [property: Description("The header webhook-id, the same in each try.")] string Id,
    [property: Description("Such as alert.raised.")] string Type,
    string Alert,
    [property: Description("delivered, failing or set-aside.")] string State,
    int Attempts,
    DateTimeOffset FirstAt,
    DateTimeOffset LastAt,
    [property: Description("The HTTP status that came last; null when none came.")] int? Status,
    [property: Description("What came of the last try, in one line.")] string Detail)
{
    public static WebhookDeliveryJson Of(WebhookDelivery delivery) => new(
        delivery.Message, delivery.Type, delivery.Alert, delivery.State, delivery.Attempts, delivery.FirstAt, delivery.LastAt, delivery.Status, delivery.Detail);
}

[Description("What came back from a test.")]
public sealed record WebhookTestJson(bool Delivered, int? Status, [property: Description("One line.")] string Detail);

/// <summary>The body of a webhook.</summary>
/// <param name="Type">Such as <c>alert.raised</c>, or <c>test.ping</c>.</param>
/// <param name="Timestamp">When it happened.</param>
/// <param name="Data">By type.</param>
public sealed record WebhookMessageJson<T>(string Type, DateTimeOffset Timestamp, T Data);

/// <param name="Webhook">The id of the one that is tested.</param>
public sealed record PingJson(string Webhook);
