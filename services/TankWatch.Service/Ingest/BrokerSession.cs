using MQTTnet;
using MQTTnet.Exceptions;
using TankWatch.Service.Configuration;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Ingest;

/// <summary>One connection to an external broker, from connecting to its end.</summary>
internal sealed partial class BrokerSession : IAsyncDisposable
{
    private static readonly TimeSpan DrainTimeout = TimeSpan.FromSeconds(10);

    /// <summary>Below the keep-alive, so that the library never sends a ping of its own: it would give up on a broker that we slow on purpose.</summary>
    private static readonly TimeSpan PingEvery = TimeSpan.FromSeconds(10);

    /// <summary>Three pings without an answer.</summary>
    private static readonly TimeSpan LongestSilence = TimeSpan.FromSeconds(30);

    private readonly MqttOptions options;
    private readonly TimeProvider time;
    private readonly ILogger logger;
    private readonly IMqttClient client = new MqttClientFactory().CreateMqttClient();
    private readonly CancellationTokenSource ended = new();
    private readonly TaskCompletionSource<string> lost = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private readonly Deliveries deliveries;
    private readonly BrokerStreamProvider streams;
    private readonly SparkplugVoice sparkplug;
    private Task watching = Task.CompletedTask;
    private Task speaking = Task.CompletedTask;

    public BrokerSession(MqttOptions options, SiteInbox inbox, TimeProvider time, ILogger logger)
    {
        (this.options, this.time, this.logger) = (options, time, logger);
        deliveries = new(inbox, time, reason => lost.TrySetResult(reason));
        sparkplug = new(client, options.ClientId, inbox.Sparkplug, time);
        streams = new(deliveries.RoomAsync, deliveries.Read, time);

        // The handler stays attached to the end: without one the library acknowledges by itself what nobody has taken.
        client.ApplicationMessageReceivedAsync += TakeAsync;
        client.DisconnectedAsync += OnDisconnectedAsync;
    }

    /// <summary>Ends with the reason when the connection ends.</summary>
    public Task<string> Lost => lost.Task;

    public async Task OpenAsync(CancellationToken stop)
    {
        using var patience = CancellationTokenSource.CreateLinkedTokenSource(stop);
        patience.CancelAfter(BrokerDialling.ConnectTimeout);
        deliveries.Start();
        var connected = await client.ConnectAsync(await BrokerDialling.ConnectAsync(options, streams, sparkplug, stop), patience.Token);
        if (connected.ResultCode != MqttClientConnectResultCode.Success)
        {
            throw new MqttCommunicationException($"the broker refused the connection: {connected.ResultCode} {connected.ReasonString}".TrimEnd());
        }

        var subscribed = await client.SubscribeAsync(BrokerDialling.Subscribe(options), patience.Token);
        if (subscribed.Items.Any(item => item.ResultCode > MqttClientSubscribeResultCode.GrantedQoS2))
        {
            throw new MqttCommunicationException($"the broker refused the subscription: {subscribed.Items.First().ResultCode}");
        }

        watching = WatchAsync();
        speaking = sparkplug.SpeakAsync(reason => lost.TrySetResult(reason), ended.Token);
    }

    /// <summary>Acknowledges what became durable, then takes leave so that the broker keeps the session.</summary>
    public async ValueTask DisposeAsync()
    {
        try
        {
            if (client.IsConnected && !lost.Task.IsCompleted)
            {
                await deliveries.DrainAsync(DrainTimeout);
                await sparkplug.LeaveAsync(CancellationToken.None).WaitAsync(DrainTimeout, time);
                await client.DisconnectAsync(
                    new MqttClientDisconnectOptions { SessionExpiryInterval = BrokerDialling.SessionExpirySeconds }, CancellationToken.None);
            }
        }
        catch (Exception fault) when (ConnectionFault.Is(fault))
        {
            // Unacknowledged messages come again; that is what they are kept for.
        }

        await ended.CancelAsync();
        await watching;
        await speaking;
        await deliveries.DisposeAsync();
        client.Dispose();
        await (streams.Stream?.Closed ?? Task.CompletedTask);
        ended.Dispose();
    }

    /// <remarks>An exception here would make the library stop dispatching while it still says it is connected: none may leave.</remarks>
    private Task TakeAsync(MqttApplicationMessageReceivedEventArgs args)
    {
        try
        {
            args.AutoAcknowledge = false;
            deliveries.Take(args);
        }
        catch (Exception fault)
        {
            LogHandlerFault(fault);
            lost.TrySetResult("a message could not be taken in; connecting anew");
        }

        return Task.CompletedTask;
    }

    /// <summary>Finds a half-open link within 45 s, whatever else is being sent: acknowledgements into the void are no sign of life.</summary>
    private async Task WatchAsync()
    {
        try
        {
            using var timer = new PeriodicTimer(PingEvery, time);
            while (await timer.WaitForNextTickAsync(ended.Token))
            {
                if (streams.Stream!.Silence >= LongestSilence)
                {
                    lost.TrySetResult($"the broker has said nothing for {LongestSilence.TotalSeconds:0} s");
                    return;
                }

                _ = PingAsync();
            }
        }
        catch (OperationCanceledException)
        {
            // The session ended.
        }
    }

    /// <summary>Its answer is seen by the stream.</summary>
    private async Task PingAsync()
    {
        try
        {
            await client.PingAsync(ended.Token);
        }
        catch (Exception fault) when (ConnectionFault.Is(fault))
        {
            // The end of the connection is reported elsewhere.
        }
    }

    private Task OnDisconnectedAsync(MqttClientDisconnectedEventArgs args)
    {
        lost.TrySetResult($"the connection ended: {(args.Exception?.Message ?? args.Reason.ToString()).ReplaceLineEndings(" ")}");
        return Task.CompletedTask;
    }

    [LoggerMessage(Level = LogLevel.Error, Message = "a message could not be taken in")]
    private partial void LogHandlerFault(Exception fault);
}
