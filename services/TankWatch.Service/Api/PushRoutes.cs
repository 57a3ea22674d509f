using System.Buffers.Text;
using System.ComponentModel;
using System.Text.Json.Serialization;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Service.Push;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

[Description("The key by which a browser knows whose messages it takes (RFC 8292).")]
public sealed record PushKeyJson([property: Description("Base64url.")] string PublicKey);

[Description("The keys of a browser's subscription (RFC 8291), base64url.")]
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record PushSubscriptionKeysJson(string P256dh, string Auth);

[Description("A browser that is to show somebody's alerts.")]
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
public sealed record NewPushSubscriptionJson(
    [property: Description("Of the browser's push service; https.")] string Endpoint, PushSubscriptionKeysJson Keys,
    [property: Description("Whose alerts: the address of a contact of a site that you see.")] string Email);

[Description("A browser that shows somebody's alerts.")]
public sealed record PushSubscriptionJson(string Id, string Email, DateTimeOffset CreatedAt);

/// <summary><c>/push</c>: browsers that show alerts, before their mail goes.</summary>
internal static class PushRoutes
{
    private const int MaxEndpoint = 2000;

    public static void MapPush(this RouteGroupBuilder api)
    {
        var push = api.MapGroup("/push").WithTags("Push");
        push.MapGet("/key", (PushClient client) => TypedResults.Ok(new PushKeyJson(client.Keys.Public))).WithName("getPushKey").WithSummary("The key to subscribe with.");
        push.MapPost("/subscriptions", Add).WithName("addPushSubscription").WithSummary("Has a browser show a contact's alerts.")
            .ProducesProblem(StatusCodes.Status413PayloadTooLarge).ProducesProblem(StatusCodes.Status415UnsupportedMediaType);
        push.MapDelete("/subscriptions/{id}", Results<NoContent, ProblemHttpResult> (string id, LedgerStore ledger) =>
                ledger.RemoveSubscriber(id) ? TypedResults.NoContent() : Problems.NotFound("There is no such subscription."))
            .WithName("removePushSubscription").WithSummary("Has it show them no more; whoever knows the id may.");
    }

    /// <summary>Open to all, as the browser that shows a notice may be signed in no more; who knows the token was sent it.</summary>
    public static void MapPushReceipts(this IEndpointRouteBuilder routes) =>
        routes.MapPost("/push/receipts/{token}", Results<NoContent, NotFound> (string token, LedgerStore ledger, TimeProvider time) =>
            token.Length <= 64 && ledger.TakeReceipt(token, time.GetUtcNow()) ? TypedResults.NoContent() : TypedResults.NotFound()).DisableAntiforgery().ExcludeFromDescription();

    private static Results<Created<PushSubscriptionJson>, ProblemHttpResult> Add([FromBody] NewPushSubscriptionJson body, Caller caller, LedgerStore ledger, SiteDirectory directory, Configuration.WebhookOptions options)
    {
        if (body.Endpoint.Length > MaxEndpoint || !Uri.TryCreate(body.Endpoint, UriKind.Absolute, out var endpoint) || !(endpoint.Scheme == "https" || (options.AllowHttp && endpoint.Scheme == "http")))
        {
            return Problems.BadRequest("'endpoint' must be an https address.");
        }

        if (!Holds(body.Keys.P256dh, 65) || !Holds(body.Keys.Auth, 16))
        {
            return Problems.BadRequest("'keys' must hold 'p256dh', 65 bytes, and 'auth', 16 bytes, in base64url.");
        }

        if (!directory.Sites.Where(view => caller.Sees(view.Plan.Id)).SelectMany(view => view.Plan.Contacts).Any(contact => string.Equals(contact.Email, body.Email, StringComparison.OrdinalIgnoreCase)))
        {
            return Problems.BadRequest("'email' must be the address of a contact of a site that you see.");
        }

        var added = ledger.PutSubscriber(body.Endpoint, body.Keys.P256dh, body.Keys.Auth, body.Email);
        return TypedResults.Created($"{ApiRoutes.Prefix}/push/subscriptions/{added.Id}", new PushSubscriptionJson(added.Id, added.Email, added.CreatedAt));
    }

    private static bool Holds(string text, int bytes) => Base64Url.IsValid(text, out var length) && length == bytes;
}
