using TankWatch.Service.Configuration;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Ingest;

/// <summary>
/// Takes field messages from a broker of its own. The client library has no loop that keeps a connection; this is it: connect,
/// subscribe on every connect, take until the connection ends, wait, again.
/// </summary>
public sealed partial class ExternalBroker(
    MqttOptions options, SiteInbox inbox, ReadyState ready, TimeProvider time, ILogger<ExternalBroker> logger) : BackgroundService
{
    private static readonly TimeSpan FirstWait = TimeSpan.FromMilliseconds(500);
    private static readonly TimeSpan LongestWait = TimeSpan.FromSeconds(30);

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        ready.Set(Stage.Broker, "not connected yet");
        var backoff = new Backoff(FirstWait, LongestWait);
        while (!stoppingToken.IsCancellationRequested)
        {
            var reason = await TakeUntilLostAsync(backoff, stoppingToken);
            inbox.StopListening();
            if (!stoppingToken.IsCancellationRequested)
            {
                ready.Set(Stage.Broker, reason);
                LogLost(options.Host, options.Port, reason);
                await WaitAsync(backoff.Next(), stoppingToken);
            }
        }
    }

    /// <returns>Why the connection ended, in one line.</returns>
    private async Task<string> TakeUntilLostAsync(Backoff backoff, CancellationToken stop)
    {
        await using var session = new BrokerSession(options, inbox, time, logger);
        try
        {
            await session.OpenAsync(stop);
            ready.Set(Stage.Broker, null);
            inbox.Listen(time.GetUtcNow());
            LogConnected(options.Host, options.Port);
            var openedAt = time.GetTimestamp();
            var reason = await session.Lost.WaitAsync(stop);
            if (time.GetElapsedTime(openedAt) > LongestWait)
            {
                backoff.Reset(); // Not before: two services under one client id throw each other out as soon as they are in.
            }

            return reason;
        }
        catch (OperationCanceledException) when (stop.IsCancellationRequested)
        {
            return "stopping";
        }
        catch (Exception fault) when (IsFailure(fault))
        {
            return $"no connection to the broker {options.Host}:{options.Port}: {fault.Message.ReplaceLineEndings(" ")}";
        }
    }

    private async Task WaitAsync(TimeSpan wait, CancellationToken stop)
    {
        try
        {
            await Task.Delay(wait, time, stop);
        }
        catch (OperationCanceledException)
        {
            // The loop's condition ends it.
        }
    }

    private static bool IsFailure(Exception fault) => ConnectionFault.Is(fault) || fault is UnauthorizedAccessException
        or System.Security.Authentication.AuthenticationException or System.Security.Cryptography.CryptographicException;

    [LoggerMessage(Level = LogLevel.Information, Message = "connected to the broker {Host}:{Port}")]
    private partial void LogConnected(string? host, int port);

    [LoggerMessage(Level = LogLevel.Warning, Message = "broker {Host}:{Port} lost: {Reason}")]
    private partial void LogLost(string? host, int port, string reason);
}
