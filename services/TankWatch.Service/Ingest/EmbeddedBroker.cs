using System.Buffers;
using System.Collections.Concurrent;
using System.Net;
using System.Net.Sockets;
using System.Runtime.CompilerServices;
using System.Security.Cryptography;
using MQTTnet.Packets;
using MQTTnet.Protocol;
using MQTTnet.Server;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;
using TankWatch.Service.Configuration;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Ingest;

/// <summary>Who may use the embedded broker.</summary>
/// <param name="Open">Anybody, for <c>demo</c>; else only units with credentials, each under its own topic.</param>
public sealed record BrokerAccess(bool Open);

/// <summary>
/// A broker inside the service, for one machine with nothing else installed. It holds each PUBACK until the message is durable. It
/// is not a broker for other subscribers: except in <c>demo</c> it forwards nothing.
/// </summary>
public sealed partial class EmbeddedBroker(
    MqttOptions options, BrokerAccess access, LedgerStore ledger, SiteInbox inbox, ReadyState ready, TimeProvider time, ILogger<EmbeddedBroker> logger)
    : BackgroundService
{
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(1);

    /// <summary>Who is connected under which client id, and with what secret.</summary>
    private readonly ConcurrentDictionary<string, Guest> guests = new(StringComparer.Ordinal);

    /// <summary>Made when the service starts, gone when it stops.</summary>
    private MqttServer? server;

    /// <exception cref="SocketException">The port is not free: better to say so at the start than to run deaf.</exception>
    public override async Task StartAsync(CancellationToken cancellationToken)
    {
        server = new MqttServerFactory().CreateMqttServer(Listen());
        server.ValidatingConnectionAsync += AdmitAsync;
        server.ClientDisconnectedAsync += ForgetAsync;
        server.InterceptingSubscriptionAsync += RefuseSubscriptionAsync;
        server.InterceptingPublishAsync += TakeAsync;
        await server.StartAsync();
        ready.Set(Stage.Broker, null);
        inbox.Listen(time.GetUtcNow());
        LogListening(options.ListenAddress, options.ListenPort);
        await base.StartAsync(cancellationToken);
    }

    /// <summary>Takes no more messages; those on their way in are finished first, or not acknowledged.</summary>
    public override async Task StopAsync(CancellationToken cancellationToken)
    {
        await base.StopAsync(cancellationToken);
        inbox.StopListening();
        if (server is { IsStarted: true })
        {
            await server.StopAsync(new MqttServerStopOptions());
        }
    }

    public override void Dispose()
    {
        server?.Dispose();
        base.Dispose();
    }

    /// <summary>Ends connections whose credentials were revoked or replaced, by whatever process.</summary>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        long? seen = null;
        while (!access.Open && !stoppingToken.IsCancellationRequested)
        {
            try
            {
                var changes = ledger.ReadChanges();
                if (changes != seen)
                {
                    await DisconnectRevokedAsync(server!);
                    seen = changes;
                }
            }
            catch (Exception fault) when (fault is Microsoft.Data.Sqlite.SqliteException or StoreException or InvalidOperationException)
            {
                LogHandlerFault(fault); // Looked at again in a second.
            }

            await WaitAsync(LookEvery, stoppingToken);
        }
    }

    private MqttServerOptions Listen()
    {
        var builder = new MqttServerOptionsBuilder().WithDefaultEndpoint().WithDefaultEndpointPort(options.ListenPort);
        var address = IPAddress.Parse(options.ListenAddress);

        // The library listens on both families by default; only the one that was asked for is wanted.
        return address.AddressFamily == AddressFamily.InterNetworkV6
            ? builder.WithDefaultEndpointBoundIPAddress(IPAddress.None).WithDefaultEndpointBoundIPV6Address(address).Build()
            : builder.WithDefaultEndpointBoundIPAddress(address).WithDefaultEndpointBoundIPV6Address(IPAddress.None).Build();
    }

    private Task AdmitAsync(ValidatingConnectionEventArgs args)
    {
        try
        {
            args.ReasonCode = Admit(args);
        }
        catch (Exception fault)
        {
            LogHandlerFault(fault);
            args.ReasonCode = MqttConnectReasonCode.ServerUnavailable;
        }

        return Task.CompletedTask;
    }

    private MqttConnectReasonCode Admit(ValidatingConnectionEventArgs args)
    {
        Name(args);
        if (access.Open)
        {
            return MqttConnectReasonCode.Success;
        }

        if (!IdRule.Holds(args.UserName) || args.Password is not { Length: > 0 and <= 256 } password
            || !ledger.CheckUnit(new(args.UserName), password))
        {
            LogRefusedConnection(Shown(args.UserName), Shown(args.ClientId));
            return MqttConnectReasonCode.BadUserNameOrPassword;
        }

        // A client id takes over the connection that has it: another unit's must not be taken.
        if (guests.TryGetValue(args.ClientId, out var other) && other.Unit.Value != args.UserName)
        {
            LogRefusedConnection(Shown(args.UserName), Shown(args.ClientId));
            return MqttConnectReasonCode.ClientIdentifierNotValid;
        }

        guests[args.ClientId] = new(new(args.UserName), LedgerStore.HashOf(password));
        return MqttConnectReasonCode.Success;
    }

    /// <summary>
    /// MQTT 3.1.1 lets a client with a clean session leave its id empty [MQTT-3.1.3-6], and many a command-line tool does. The library names
    /// only MQTT 5 clients and offers no other way to do it for the rest than the packet itself.
    /// </summary>
    private static void Name(ValidatingConnectionEventArgs args)
    {
        if (string.IsNullOrEmpty(args.ClientId) && args.CleanSession == true)
        {
            var id = $"unnamed-{Guid.NewGuid():N}";
            args.AssignedClientIdentifier = id;
            ConnectPacketOf(args).ClientId = id;
        }
    }

    [UnsafeAccessor(UnsafeAccessorKind.Field, Name = "_connectPacket")]
    private static extern ref MqttConnectPacket ConnectPacketOf(ValidatingConnectionEventArgs args);

    private Task ForgetAsync(ClientDisconnectedEventArgs args)
    {
        // A taken-over connection's end comes after its successor's beginning, and must not forget that one.
        if (args.DisconnectType != MqttClientDisconnectType.Takeover)
        {
            guests.TryRemove(args.ClientId, out _);
        }

        return Task.CompletedTask;
    }

    private Task RefuseSubscriptionAsync(InterceptingSubscriptionEventArgs args)
    {
        if (!access.Open)
        {
            args.Response.ReasonCode = MqttSubscribeReasonCode.NotAuthorized;
            args.ProcessSubscription = false;
        }

        return Task.CompletedTask;
    }

    /// <summary>Returns, and so lets the PUBACK go, when the message is durable. No exception may leave it.</summary>
    private async Task TakeAsync(InterceptingPublishEventArgs args)
    {
        args.ProcessPublish = access.Open;
        try
        {
            var message = args.ApplicationMessage;
            if (!access.Open && !IsOwnTopic(args.UserName, message.Topic))
            {
                LogForeignTopic(Shown(args.UserName), Shown(message.Topic));
                args.Response.ReasonCode = MqttPubAckReasonCode.NotAuthorized;
                args.CloseConnection = true; // MQTT 3.1.1 has no other way to say no.
                return;
            }

            // A retain flag here asks us to keep the message; it does not say that the message is old.
            var received = new ReceivedMessage(message.Topic, message.Payload.ToArray(), Retained: false, time.GetUtcNow());
            await inbox.ReceiveAsync(received, args.CancellationToken);
        }
        catch (Exception fault)
        {
            if (fault is not OperationCanceledException)
            {
                LogHandlerFault(fault);
            }

            args.ProcessPublish = false;
            args.CloseConnection = true; // No PUBACK: the unit sends it again.
        }
    }

    /// <summary>What is not a field message's topic at all goes on, to be refused where operators see it.</summary>
    private static bool IsOwnTopic(string? userName, string topic) =>
        !FieldMessageDecoder.TryReadTopic(topic, out var unit, out _, out _) || unit.Value == userName;

    private async Task DisconnectRevokedAsync(MqttServer server)
    {
        var secrets = ledger.ListUnitSecrets();
        foreach (var (clientId, guest) in guests)
        {
            if (!secrets.TryGetValue(guest.Unit, out var secret) || !CryptographicOperations.FixedTimeEquals(secret, guest.SecretHash))
            {
                LogRevoked(guest.Unit.Value);
                await server.DisconnectClientAsync(clientId, MqttDisconnectReasonCode.NotAuthorized);
            }
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

    /// <summary>A stranger's text in our log: short, and on one line.</summary>
    private static string Shown(string? text) => Mail.MailWords.OneLine(text ?? "", 80);

    private sealed record Guest(UnitId Unit, byte[] SecretHash);

    [LoggerMessage(Level = LogLevel.Information, Message = "embedded broker listening on {Address}:{Port}")]
    private partial void LogListening(string address, int port);

    [LoggerMessage(Level = LogLevel.Warning, Message = "connection refused: user {User}, client {Client}")]
    private partial void LogRefusedConnection(string user, string client);

    [LoggerMessage(Level = LogLevel.Warning, Message = "unit {User} may not publish to {Topic}")]
    private partial void LogForeignTopic(string user, string topic);

    [LoggerMessage(Level = LogLevel.Information, Message = "unit {Unit} disconnected: its credentials are no longer valid")]
    private partial void LogRevoked(string unit);

    [LoggerMessage(Level = LogLevel.Error, Message = "embedded broker: a handler failed")]
    private partial void LogHandlerFault(Exception fault);
}
