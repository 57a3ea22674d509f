using Microsoft.Data.Sqlite;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Webhooks;

/// <summary>Keeps one worker for each target in use, so that a slow one delays nobody else.</summary>
internal sealed partial class WebhookSender(
    LedgerStore ledger, WebhookMessages messages, WebhookCaller caller, WebhookPlaces places, AlertBell bell, ServiceMetrics metrics,
    [FromKeyedServices(EventStreams.Pace)] TimeProvider time, ILogger<WebhookSender> logger) : BackgroundService
{
    /// <summary>Targets are added and removed by other processes too, of which no bell is heard here.</summary>
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(1);

    private readonly Dictionary<string, (CancellationTokenSource End, Task Work)> workers = [];

    /// <summary>How many workers were replaced so far, since they had ended by themselves.</summary>
    internal int Replaced { get; private set; }

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        await Task.Yield();
        using var look = new PeriodicTimer(LookEvery, time);
        try
        {
            do
            {
                Look(stoppingToken);
            }
            while (await look.WaitForNextTickAsync(stoppingToken));
        }
        catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
        {
            // The workers hear it too.
        }

        await Task.WhenAll(workers.Values.Select(worker => worker.Work));
        workers.Keys.ToList().ForEach(End);
    }

    private void Look(CancellationToken stop)
    {
        try
        {
            Staff(ledger.ListWebhooks(), stop);
        }
        catch (Exception fault) when (fault is SqliteException or StoreException)
        {
            LogStoreFailed(Database.OneLine(fault));
        }
    }

    private void Staff(IReadOnlyList<Webhook> hooks, CancellationToken stop)
    {
        var now = time.GetUtcNow();
        var inUse = hooks.Where(hook => hook.DisabledAt is null).Select(hook => hook.Id).ToHashSet(StringComparer.Ordinal);
        workers.Keys.Where(id => !inUse.Contains(id)).ToList().ForEach(End);
        foreach (var (id, (_, ended)) in workers.Where(worker => worker.Value.Work.IsCompleted).ToList())
        {
            // By a fault, or it found its target gone, which a backup has brought back since.
            LogEnded(ended.Exception?.InnerException, id);
            End(id);
            Replaced++;
        }

        foreach (var id in inUse.Where(id => !workers.ContainsKey(id)))
        {
            var end = CancellationTokenSource.CreateLinkedTokenSource(stop);
            var worker = new WebhookWorker(id, ledger, messages, caller, places, bell, metrics, time, logger);
            workers.Add(id, (end, Task.Run(() => worker.RunAsync(end.Token), CancellationToken.None)));
        }

        metrics.OpenCircuits = hooks.Count(hook => hook.DisabledAt is null && hook.Failing.Failures >= WebhookRetry.OpenAfter);
        if (hooks.Any(hook => hook.FormerUntil <= now))
        {
            ledger.ForgetFormerSecrets(now);
        }
    }

    private void End(string id)
    {
        var (end, _) = workers[id];
        end.Cancel();
        end.Dispose();
        workers.Remove(id);
    }

    [LoggerMessage(Level = LogLevel.Error, Message = "the worker of webhook {Webhook} ended; another one takes over")]
    private partial void LogEnded(Exception? fault, string webhook);

    [LoggerMessage(Level = LogLevel.Error, Message = "the list of webhooks cannot be read: {Reason}")]
    private partial void LogStoreFailed(string reason);
}
