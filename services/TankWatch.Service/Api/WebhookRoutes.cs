using System.Globalization;
using Microsoft.AspNetCore.Http.HttpResults;
using Microsoft.AspNetCore.Mvc;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Storage;
using TankWatch.Service.Webhooks;

namespace TankWatch.Service.Api;

/// <summary><c>/webhooks</c>: programs elsewhere that are told of events of alerts.</summary>
internal static class WebhookRoutes
{
    private static readonly string[] Managers = ["installer", "operator"];

    public static void MapWebhooks(this RouteGroupBuilder api)
    {
        var hooks = api.MapGroup("/webhooks").WithTags("Webhooks").ProducesProblem(StatusCodes.Status403Forbidden);
        hooks.AddEndpointFilter((context, next) => Managers.Contains(Caller.Of(context.HttpContext)?.Role)
            ? next(context)
            : ValueTask.FromResult<object?>(TypedResults.Problem("Webhooks are for installers and operators.", statusCode: StatusCodes.Status403Forbidden)));

        hooks.MapGet("", List).WithName("listWebhooks").WithSummary("Webhooks, newest first, without their secrets.");
        hooks.MapPost("", Add).WithName("addWebhook").WithSummary("Adds a webhook; its secret is shown this once.")
            .WithDescription("It is told of what happens from now on. A key of one site makes webhooks of that site.")
            .ProducesProblem(StatusCodes.Status404NotFound).ProducesProblem(StatusCodes.Status409Conflict)
            .ProducesProblem(StatusCodes.Status413PayloadTooLarge).ProducesProblem(StatusCodes.Status415UnsupportedMediaType);
        hooks.MapGet("/{id}", Get).WithName("getWebhook").WithSummary("One webhook, and how it is.").ProducesProblem(StatusCodes.Status404NotFound);
        hooks.MapDelete("/{id}", Remove).WithName("removeWebhook").WithSummary("Removes a webhook.").ProducesProblem(StatusCodes.Status404NotFound);
        hooks.MapPost("/{id}/rotate", Rotate).WithName("rotateWebhookSecret").WithSummary("Makes another secret, shown this once; both sign for 24 hours.")
            .WithDescription("When the secret was changed within these 24 hours already, the oldest one ends at once.")
            .ProducesProblem(StatusCodes.Status404NotFound);
        hooks.MapPost("/{id}/test", TestAsync).WithName("testWebhook").WithSummary("Sends a test.ping now, once, and says what came back.")
            .ProducesProblem(StatusCodes.Status404NotFound);
        hooks.MapGet("/{id}/deliveries", ListDeliveries).WithName("listWebhookDeliveries")
            .WithSummary("Events and what became of them, newest first.")
            .WithDescription("'state' is delivered, failing or set-aside; of each the last 500 are remembered.")
            .ProducesProblem(StatusCodes.Status404NotFound);
    }

    private static Results<Ok<PageJson<WebhookJson>>, ProblemHttpResult> List(
        Caller caller, LedgerStore ledger, [FromKeyedServices(EventStreams.Pace)] TimeProvider time, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem))
        {
            return problem;
        }

        var seen = ledger.ListWebhooks().Where(hook => Sees(caller, hook));
        var from = after is null ? seen : seen.SkipWhile(hook => hook.Id != after).Skip(1);
        return TypedResults.Ok(Query.Page([.. from.Take(count + 1).Select(hook => WebhookJson.Of(hook, time.GetUtcNow()))], count, hook => hook.Id));
    }

    private static Results<Created<WebhookSecretJson>, ProblemHttpResult> Add(
        [FromBody] NewWebhookJson body, Caller caller, LedgerStore ledger, WebhookDesk desk, [FromKeyedServices(EventStreams.Pace)] TimeProvider time)
    {
        if (!AlertRoutes.TrySite(body.Site, caller, ledger, out var site, out var problem))
        {
            return problem!;
        }

        var now = time.GetUtcNow();
        return desk.Add(body.Url, site, now) switch
        {
            AddedWebhook.Added { Webhook: var hook } =>
                TypedResults.Created($"{ApiRoutes.Prefix}/webhooks/{hook.Id}", new WebhookSecretJson(hook.Secret, WebhookJson.Of(hook, now))),
            AddedWebhook.BadAddress bad => Problems.BadRequest(bad.Fault),
            AddedWebhook.Refused refused => Problems.Conflict(refused.Fault),
            var other => throw new InvalidOperationException(other.ToString()),
        };
    }

    private static Results<Ok<WebhookJson>, ProblemHttpResult> Get(
        string id, Caller caller, LedgerStore ledger, [FromKeyedServices(EventStreams.Pace)] TimeProvider time) =>
        Find(id, caller, ledger) is { } hook ? TypedResults.Ok(WebhookJson.Of(hook, time.GetUtcNow())) : NoWebhook();

    private static Results<NoContent, ProblemHttpResult> Remove(string id, Caller caller, LedgerStore ledger) =>
        Find(id, caller, ledger) is not null && ledger.RemoveWebhook(id) ? TypedResults.NoContent() : NoWebhook();

    private static Results<Ok<WebhookSecretJson>, ProblemHttpResult> Rotate(
        string id, Caller caller, LedgerStore ledger, [FromKeyedServices(EventStreams.Pace)] TimeProvider time)
    {
        var now = time.GetUtcNow();
        return Find(id, caller, ledger) is not null
            && ledger.RotateWebhook(id, WebhookSignature.NewSecret(), now + WebhookDesk.BothSecretsFor) && ledger.FindWebhook(id) is { } hook
            ? TypedResults.Ok(new WebhookSecretJson(hook.Secret, WebhookJson.Of(hook, now)))
            : NoWebhook();
    }

    private static async Task<Results<Ok<WebhookTestJson>, ProblemHttpResult>> TestAsync(
        string id, Caller caller, LedgerStore ledger, WebhookMessages messages, WebhookCaller way, WebhookPlaces places,
        [FromKeyedServices(EventStreams.Pace)] TimeProvider time, IHostApplicationLifetime lifetime, CancellationToken stop)
    {
        if (Find(id, caller, ledger) is not { } hook)
        {
            return NoWebhook();
        }

        using var ending = CancellationTokenSource.CreateLinkedTokenSource(stop, lifetime.ApplicationStopping);
        using var place = await places.EnterAsync(isAiling: true, ending.Token); // A test must not take the places of events.
        var outcome = await way.CallAsync(hook, messages.Ping(hook, time.GetUtcNow()), ending.Token);
        return TypedResults.Ok(new WebhookTestJson(outcome is WebhookOutcome.Delivered, outcome.Status, outcome.Detail));
    }

    private static Results<Ok<PageJson<WebhookDeliveryJson>>, ProblemHttpResult> ListDeliveries(
        string id, Caller caller, LedgerStore ledger, string? state, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem))
        {
            return problem;
        }

        if (state is not (null or DeliveryStates.Delivered or DeliveryStates.Failing or DeliveryStates.SetAside))
        {
            return Problems.BadRequest($"'state' is one of {DeliveryStates.Delivered}, {DeliveryStates.Failing}, {DeliveryStates.SetAside}.");
        }

        if (Find(id, caller, ledger) is null)
        {
            return NoWebhook();
        }

        var before = after is null ? long.MaxValue : long.TryParse(after, NumberStyles.None, CultureInfo.InvariantCulture, out var position) ? position : 0;
        var page = Query.Page(ledger.ListDeliveries(id, state, before, count + 1), count, d => d.Position.ToString(CultureInfo.InvariantCulture));
        return TypedResults.Ok(new PageJson<WebhookDeliveryJson>([.. page.Items.Select(WebhookDeliveryJson.Of)], page.Next));
    }

    private static Webhook? Find(string id, Caller caller, LedgerStore ledger) =>
        ledger.FindWebhook(id) is { } hook && Sees(caller, hook) ? hook : null;

    /// <summary>One of all sites tells of more than a key of one site may know.</summary>
    private static bool Sees(Caller caller, Webhook hook) => caller.Site is null || hook.Site == caller.Site;

    private static ProblemHttpResult NoWebhook() => Problems.NotFound("There is no such webhook.");
}
