using System.Buffers;
using System.Security.Cryptography.X509Certificates;
using System.Threading.Channels;
using MQTTnet;
using MQTTnet.Exceptions;
using MQTTnet.Formatter;
using MQTTnet.Protocol;
using TankWatch.Core.FieldMessages;
using TankWatch.Service.Configuration;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Ingest;

/// <summary>
/// One connection to an external broker, from connecting to its end. Acknowledgements held from an older connection die with it: sent
/// on a newer one they would eat a message that reuses their packet id.
/// </summary>
internal sealed partial class BrokerSession : IAsyncDisposable
{
    /// <summary>Kept by the broker while we are away. A month: long enough for any repair, short enough to be cleaned up after.</summary>
    private const uint SessionExpirySeconds = 30 * 24 * 3600;

    /// <summary>Unset, a stock broker drops what does not fit in flight; set, it is also the bound of the library's receive queue.</summary>
    private const ushort ReceiveMaximum = 65535;

    /// <summary>Well above what a message may have, so that one too large is seen, kept and counted instead of dropped by the broker.</summary>
    private const uint MaximumPacketBytes = 8 * 1024 * 1024;

    private static readonly TimeSpan KeepAlive = TimeSpan.FromSeconds(15);
    private static readonly TimeSpan ConnectTimeout = TimeSpan.FromSeconds(15);
    private static readonly TimeSpan DrainTimeout = TimeSpan.FromSeconds(10);

    private readonly MqttOptions options;
    private readonly SiteInbox inbox;
    private readonly TimeProvider time;
    private readonly ILogger logger;
    private readonly IMqttClient client = new MqttClientFactory().CreateMqttClient();
    private readonly CancellationTokenSource ended = new();
    private readonly TaskCompletionSource<string> lost = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private readonly Channel<MqttApplicationMessageReceivedEventArgs> durable = Channel.CreateUnbounded<MqttApplicationMessageReceivedEventArgs>(
        new UnboundedChannelOptions { SingleReader = true }); // Bounded by Receive Maximum: the broker sends no more until we acknowledge.

    private readonly TaskCompletionSource settled = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private readonly Task acknowledging;

    // The handler stays attached to the end: without one the library acknowledges by itself what nobody has taken.
    private volatile bool draining;

    /// <summary>Messages taken whose fate is not known, and one more until the session takes no more.</summary>
    private int unsettled = 1;

    public BrokerSession(MqttOptions options, SiteInbox inbox, TimeProvider time, ILogger logger)
    {
        (this.options, this.inbox, this.time, this.logger) = (options, inbox, time, logger);
        client.ApplicationMessageReceivedAsync += TakeAsync;
        client.DisconnectedAsync += OnDisconnectedAsync;
        acknowledging = Task.Run(AcknowledgeInOrderAsync);
    }

    /// <summary>Ends with the reason when the connection ends.</summary>
    public Task<string> Lost => lost.Task;

    public async Task OpenAsync(CancellationToken stop)
    {
        using var patience = CancellationTokenSource.CreateLinkedTokenSource(stop);
        patience.CancelAfter(ConnectTimeout);
        var connected = await client.ConnectAsync(await OptionsAsync(stop), patience.Token);
        if (connected.ResultCode != MqttClientConnectResultCode.Success)
        {
            throw new MqttCommunicationException($"the broker refused the connection: {connected.ResultCode} {connected.ReasonString}".TrimEnd());
        }

        var subscribed = await client.SubscribeAsync(
            new MqttClientSubscribeOptionsBuilder().WithTopicFilter(filter => filter
                .WithTopic(options.ShareName is { } share ? $"$share/{share}/{FieldMessageDecoder.TopicPrefix}+/+" : $"{FieldMessageDecoder.TopicPrefix}+/+")
                .WithAtLeastOnceQoS()
                .WithRetainHandling(MqttRetainHandling.SendAtSubscribeIfNewSubscriptionOnly)).Build(),
            patience.Token);
        if (subscribed.Items.Any(item => item.ResultCode > MqttClientSubscribeResultCode.GrantedQoS2))
        {
            throw new MqttCommunicationException($"the broker refused the subscription: {subscribed.Items.First().ResultCode}");
        }
    }

    /// <summary>Acknowledges what became durable, then takes leave so that the broker keeps the session.</summary>
    public async ValueTask DisposeAsync()
    {
        draining = true;
        Settle();
        try
        {
            if (client.IsConnected)
            {
                await settled.Task.WaitAsync(DrainTimeout, time);
                durable.Writer.TryComplete();
                await acknowledging.WaitAsync(DrainTimeout, time);
                await client.DisconnectAsync(new MqttClientDisconnectOptions { SessionExpiryInterval = SessionExpirySeconds }, CancellationToken.None);
            }
        }
        catch (Exception fault) when (fault is TimeoutException or MqttCommunicationException or OperationCanceledException or InvalidOperationException)
        {
            // Unacknowledged messages come again; that is what they are kept for.
        }

        await ended.CancelAsync();
        await acknowledging;
        client.Dispose();
        ended.Dispose();
    }

    /// <remarks>An exception here would make the library stop dispatching while it still says it is connected: none may leave.</remarks>
    private async Task TakeAsync(MqttApplicationMessageReceivedEventArgs args)
    {
        args.AutoAcknowledge = false;
        if (draining)
        {
            return;
        }

        Interlocked.Increment(ref unsettled);
        try
        {
            var message = args.ApplicationMessage;
            var received = new ReceivedMessage(message.Topic, message.Payload.ToArray(), message.Retain, time.GetUtcNow());
            await inbox.TakeInAsync(received, new Receipt(this, args), ended.Token);
            return;
        }
        catch (Exception fault) when (fault is OperationCanceledException or ChannelClosedException)
        {
            // Not acknowledged, so the broker sends it again.
        }
        catch (Exception fault)
        {
            LogHandlerFault(fault);
            lost.TrySetResult("a message could not be taken in; connecting anew");
        }

        Settle();
    }

    private void Settle()
    {
        if (Interlocked.Decrement(ref unsettled) == 0)
        {
            settled.TrySetResult();
        }
    }

    private async Task AcknowledgeInOrderAsync()
    {
        try
        {
            await foreach (var message in durable.Reader.ReadAllAsync(ended.Token))
            {
                await message.AcknowledgeAsync(ended.Token);
            }
        }
        catch (OperationCanceledException)
        {
            // The connection ended.
        }
        catch (Exception fault)
        {
            lost.TrySetResult($"an acknowledgement could not be sent: {fault.Message.ReplaceLineEndings(" ")}");
        }
    }

    private Task OnDisconnectedAsync(MqttClientDisconnectedEventArgs args)
    {
        lost.TrySetResult($"the connection ended: {(args.Exception?.Message ?? args.Reason.ToString()).ReplaceLineEndings(" ")}");
        return Task.CompletedTask;
    }

    private async Task<MqttClientOptions> OptionsAsync(CancellationToken stop)
    {
        var builder = new MqttClientOptionsBuilder()
            .WithProtocolVersion(MqttProtocolVersion.V500)
            .WithTcpServer(options.Host, options.Port)
            .WithClientId(options.ClientId)
            .WithCleanStart(false)
            .WithSessionExpiryInterval(SessionExpirySeconds)
            .WithReceiveMaximum(ReceiveMaximum)
            .WithMaximumPacketSize(MaximumPacketBytes)
            .WithKeepAlivePeriod(KeepAlive)
            .WithTimeout(ConnectTimeout)
            .WithTryPrivate(false);
        if (options.User is { } user)
        {
            var password = options.PasswordFile is { } file ? (await File.ReadAllTextAsync(file, stop)).TrimEnd('\r', '\n') : "";
            builder.WithCredentials(user, password);
        }

        if (options.Tls)
        {
            builder.WithTlsOptions(tls =>
            {
                tls.UseTls().WithTargetHost(options.Host);
                if (options.CaFile is { } authority)
                {
                    var trusted = new X509Certificate2Collection();
                    trusted.ImportFromPemFile(authority);

                    // A private authority seldom publishes a revocation list, and its absence would count as revoked.
                    tls.WithTrustChain(trusted).WithRevocationMode(X509RevocationMode.NoCheck);
                }
            });
        }

        return builder.Build();
    }

    private sealed class Receipt(BrokerSession session, MqttApplicationMessageReceivedEventArgs message) : IReceipt
    {
        public void Durable()
        {
            session.durable.Writer.TryWrite(message);
            session.Settle();
        }

        public void Abandoned() => session.Settle();
    }

    [LoggerMessage(Level = LogLevel.Error, Message = "a message could not be taken in")]
    private partial void LogHandlerFault(Exception fault);
}
