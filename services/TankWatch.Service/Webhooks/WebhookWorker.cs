using Microsoft.Data.Sqlite;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Webhooks;

/// <summary>
/// Brings one target the events that are its business, in order, one at a time. An event may come twice when the process dies between
/// the target's answer and our note of it; it then carries the same id.
/// </summary>
/// <param name="id">The target's.</param>
/// <param name="ledger">Holds where the target stands.</param>
/// <param name="messages">Writes events.</param>
/// <param name="caller">The way out.</param>
/// <param name="places">Shared with the other workers.</param>
/// <param name="bell">Rings when there are events.</param>
/// <param name="metrics">Counts.</param>
/// <param name="time">The wall's.</param>
/// <param name="logger">Names targets by their id: an address may hold a secret.</param>
internal sealed partial class WebhookWorker(
    string id, LedgerStore ledger, WebhookMessages messages, WebhookCaller caller, WebhookPlaces places, AlertBell bell, ServiceMetrics metrics, TimeProvider time,
    ILogger logger)
{
    private static readonly TimeSpan LookAtLeastEvery = TimeSpan.FromSeconds(30);
    private static readonly TimeSpan AfterStoreFailed = TimeSpan.FromSeconds(5);

    /// <summary>So far may the place that is stored be behind what was looked through, before it is stored anew.</summary>
    private const long MostBehind = 100;

    /// <summary>How often the target refused the event that is next; a restart begins anew.</summary>
    private (long Position, int Count) refusals;

    /// <summary>Goes on until told to stop, or until the target is removed or disabled.</summary>
    public async Task RunAsync(CancellationToken stop)
    {
        try
        {
            while (true)
            {
                var news = bell.Next; // Before looking, so that nothing is missed between the two.
                if (await TryStepAsync(stop) is not { } step)
                {
                    return;
                }

                await WaitAsync(step, news, stop);
            }
        }
        catch (OperationCanceledException) when (stop.IsCancellationRequested)
        {
            // What was under way is tried again, under the same id.
        }
    }

    /// <summary>Brings the next event, if one is due.</summary>
    /// <returns>What to wait for before the next step; null when the target is gone or disabled.</returns>
    internal async Task<WebhookStep?> StepAsync(CancellationToken stop)
    {
        if (ledger.FindWebhook(id) is not { DisabledAt: null } hook)
        {
            return null;
        }

        if (hook.Failing.NextAttemptAt - time.GetUtcNow() is { } wait && wait > TimeSpan.Zero)
        {
            return new(wait, ForNews: false);
        }

        var part = ledger.ReadAlertLog(hook.Site, null, hook.Cursor, 1);
        if (part.Events is not [var logged])
        {
            if (part.Position - hook.Cursor >= MostBehind)
            {
                ledger.MoveWebhook(id, part.Position);
            }

            return new(LookAtLeastEvery, ForNews: true);
        }

        var message = messages.Of(hook, logged);
        using (await places.EnterAsync(hook.Failing.Failures > 0, stop))
        {
            Settle(hook, logged, message, await CallAsync(hook, message, stop));
        }

        return new(TimeSpan.Zero, ForNews: false);
    }

    private async Task<WebhookStep?> TryStepAsync(CancellationToken stop)
    {
        try
        {
            return await StepAsync(stop);
        }
        catch (Exception fault) when (fault is SqliteException or StoreException)
        {
            LogStoreFailed(id, Database.OneLine(fault));
            return new(AfterStoreFailed, ForNews: false);
        }
    }

    private async Task<WebhookOutcome> CallAsync(Webhook hook, WebhookMessage message, CancellationToken stop)
    {
        try
        {
            return await caller.CallAsync(hook, message, stop);
        }
        catch (Exception fault) when (fault is not OperationCanceledException)
        {
            // Whatever one target does to a library must not end its worker.
            LogUnexpected(fault, id, message.Id);
            return new WebhookOutcome.TryLater(null, $"unexpected: {fault.GetType().Name}", null);
        }
    }

    private void Settle(Webhook hook, LoggedAlertEvent logged, WebhookMessage message, WebhookOutcome outcome)
    {
        var (now, before) = (time.GetUtcNow(), ledger.FindDelivery(id, logged.Position));
        var delivery = new WebhookDelivery(
            logged.Position, message.Id, logged.Alert.Id, message.Type, DeliveryStates.Failing, (before?.Attempts ?? 0) + 1, before?.FirstAt ?? now, now,
            outcome.Status, outcome.Detail);
        switch (outcome)
        {
            case WebhookOutcome.Delivered:
                ledger.SettleWebhook(id, logged.Position, WebhookFailing.Not, delivery with { State = DeliveryStates.Delivered });
                metrics.WebhookSent();
                return;
            case WebhookOutcome.Refused when CountRefusal(logged.Position) >= WebhookRetry.TriesOfAnEvent:
                ledger.SettleWebhook(
                    id, logged.Position, new(0, hook.Failing.Since ?? now, null), delivery with { State = DeliveryStates.SetAside });
                metrics.WebhookFailed("set-aside");
                LogSetAside(id, message.Id, outcome.Detail);
                break;
            case WebhookOutcome.Refused:
                Postpone(0, refusals.Count, null);
                break;
            case WebhookOutcome.TryLater later:
                Postpone(hook.Failing.Failures + 1, hook.Failing.Failures + 1, later.Asked);
                break;
            case WebhookOutcome.Gone:
                Postpone(hook.Failing.Failures, 1, null);
                Disable("the target answered 410 Gone", now);
                return;
        }

        // This event has had its tries too: after days without any, one failure is not enough.
        if (now - hook.Failing.Since >= WebhookRetry.GiveUpAfter && delivery.Attempts >= WebhookRetry.TriesOfAnEvent)
        {
            Disable($"nothing was taken for {WebhookRetry.GiveUpAfter.TotalDays:0} days; at last: {outcome.Detail}", now);
        }

        void Postpone(int failures, int tries, TimeSpan? asked)
        {
            var next = now + WebhookRetry.WaitAfter(tries, message.Id, asked);
            ledger.SettleWebhook(id, hook.Cursor, new(failures, hook.Failing.Since ?? now, next), delivery);
            metrics.WebhookFailed("try-later");
            LogLater(id, message.Id, delivery.Attempts, outcome.Detail);
        }
    }

    private int CountRefusal(long position)
    {
        refusals = (position, refusals.Position == position ? refusals.Count + 1 : 1);
        return refusals.Count;
    }

    private void Disable(string why, DateTimeOffset now)
    {
        ledger.DisableWebhook(id, why, now);
        LogDisabled(id, why);
    }

    /// <remarks>Never for longer than half a minute: the clock may be set.</remarks>
    private async Task WaitAsync(WebhookStep step, Task news, CancellationToken stop)
    {
        using var over = CancellationTokenSource.CreateLinkedTokenSource(stop);
        var waited = Task.Delay(step.Wait < LookAtLeastEvery ? step.Wait : LookAtLeastEvery, time, over.Token);
        await Task.WhenAny(waited, step.ForNews ? news : waited);
        await over.CancelAsync();
        stop.ThrowIfCancellationRequested();
    }

    [LoggerMessage(Level = LogLevel.Warning, Message = "webhook {Webhook} did not take {Message} at try {Attempt}: {Detail}")]
    private partial void LogLater(string webhook, string message, int attempt, string detail);

    [LoggerMessage(Level = LogLevel.Error, Message = "webhook {Webhook} refuses {Message}, which is set aside: {Detail}")]
    private partial void LogSetAside(string webhook, string message, string detail);

    [LoggerMessage(Level = LogLevel.Error, Message = "webhook {Webhook} is disabled: {Why}")]
    private partial void LogDisabled(string webhook, string why);

    [LoggerMessage(Level = LogLevel.Error, Message = "webhook {Webhook} failed unexpectedly at {Message}")]
    private partial void LogUnexpected(Exception fault, string webhook, string message);

    [LoggerMessage(Level = LogLevel.Error, Message = "webhook {Webhook} waits for the store: {Reason}")]
    private partial void LogStoreFailed(string webhook, string reason);
}

/// <param name="Wait">At most so long.</param>
/// <param name="ForNews">An event that is stored ends the wait.</param>
internal sealed record WebhookStep(TimeSpan Wait, bool ForNews);
