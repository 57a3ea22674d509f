using System.Buffers.Text;
using System.ComponentModel;
using System.Text.Json.Serialization;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Core.Sites;
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
    [property: Description("Whose alerts: the address of a contact of a site that you see. They come here before their mail, and a device that shows one keeps its mail back.")] string Email,
    [property: Description("What to call the device, at most 60 characters; absent, its push service's host.")] string? Name = null);

[Description("A browser that shows somebody's alerts.")]
public sealed record PushSubscriptionJson(
    string Id, string Email, string Name, [property: Description("The only site of which it is told: that of the key by which it was subscribed; null for all.")] string? Site, DateTimeOffset CreatedAt);

/// <summary><c>/push</c>: browsers that show alerts, before their mail goes.</summary>
internal static class PushRoutes
{
    public const int MaxName = 60;

    /// <summary>Of one address, subscribed for the same site: each letter is sealed and sent to each of them.</summary>
    private const int MostDevices = 20;

    private const int MaxEndpoint = 2000;
    private const int MaxToken = 64;

    public static void MapPush(this RouteGroupBuilder api)
    {
        var push = api.MapGroup("/push").WithTags("Push");
        push.MapGet("/key", (PushClient client) => TypedResults.Ok(new PushKeyJson(client.Keys.Public))).WithName("getPushKey").WithSummary("The key to subscribe with.");
        push.MapPost("/subscriptions", Add).WithName("addPushSubscription").WithSummary("Has a browser show a contact's alerts.")
            .ProducesProblem(StatusCodes.Status409Conflict).ProducesProblem(StatusCodes.Status413PayloadTooLarge).ProducesProblem(StatusCodes.Status415UnsupportedMediaType);
        push.MapDelete("/subscriptions/{id}", Results<NoContent, ProblemHttpResult> (string id, Caller caller, LedgerStore ledger) =>
                Find(id, caller, ledger) is not null && ledger.RemoveSubscriber(id) ? TypedResults.NoContent() : Problems.NotFound("There is no such subscription."))
            .WithName("removePushSubscription").WithSummary("Has it show them no more. A key of one site removes what keys of that site subscribed.");
    }

    /// <summary>Open to all, as the browser that shows a notice may be signed in no more; who knows the tokens was sent them.</summary>
    public static void MapPushReceipts(this IEndpointRouteBuilder routes) =>
        routes.MapPost(PushContent.Receipts + "/{browser}/{letter?}", Results<NoContent, NotFound> (string browser, string? letter, LedgerStore ledger, TimeProvider time) =>
            browser.Length <= MaxToken && letter is not { Length: > MaxToken } && ledger.TakeReceipt(browser, letter, time.GetUtcNow()) ? TypedResults.NoContent() : TypedResults.NotFound())
            .DisableAntiforgery().ExcludeFromDescription();

    /// <summary>Null too when the caller may not see it: whoever sees one site sees the browsers that are told of that site alone.</summary>
    public static PushSubscriber? Find(string id, Caller caller, LedgerStore ledger) =>
        ledger.FindSubscriber(id) is { } browser && (caller.Site is null || browser.Site == caller.Site) ? browser : null;

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

        var name = string.IsNullOrWhiteSpace(body.Name) ? endpoint.Host : body.Name.Trim();
        if (body.Name is not null && (name.Length > MaxName || name.Any(char.IsControl)))
        {
            return Problems.BadRequest($"'name' has at most {MaxName} characters, none of them controls.");
        }

        if (!Contacts(caller, directory).Any(contact => string.Equals(contact.Email, body.Email, StringComparison.OrdinalIgnoreCase)))
        {
            return Problems.BadRequest("'email' must be the address of a contact of a site that you see.");
        }

        var browser = new PushSubscriber(body.Endpoint, body.Keys.P256dh, body.Keys.Auth, body.Email, name, caller.Name, caller.Site);
        if (ledger.CountOtherSubscribers(browser) >= MostDevices)
        {
            return Problems.Conflict($"{MostDevices} devices show the alerts of this address already; remove one first.");
        }

        var added = ledger.PutSubscriber(browser);
        return TypedResults.Created($"{ApiRoutes.Prefix}/push/subscriptions/{added.Id}", new PushSubscriptionJson(added.Id, added.Email, added.Name, added.Site?.Value, added.CreatedAt));
    }

    /// <summary>Whose alerts a caller may have shown. Whoever sees a site may change who its contacts are, so this gives no right that they have not; of other sites of the same contact their browsers are not told.</summary>
    public static IEnumerable<Contact> Contacts(Caller caller, SiteDirectory directory) =>
        directory.Sites.Where(view => caller.Sees(view.Plan.Id)).SelectMany(view => view.Plan.Contacts).Where(contact => contact.Email is not null);

    private static bool Holds(string text, int bytes) => Base64Url.IsValid(text, out var length) && length == bytes;
}
