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
using TankWatch.Core.Senml;
using TankWatch.Service.Configuration;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Ingest;

/// <summary>Who may use the embedded broker.</summary>
/// <param name="Open">Anybody, for <c>demo</c>; else only units with credentials, each under its own topic.</param>
public sealed record BrokerAccess(bool Open);

/// <summary>
/// A broker inside the service, for one machine with nothing else installed. It holds each PUBACK until the message is durable. It
/// is not a broker for other subscribers: except in <c>demo</c> it forwards nothing but what it says itself to units that speak Sparkplug B.
/// </summary>
public sealed partial class EmbeddedBroker(
    MqttOptions options, BrokerAccess access, LedgerStore ledger, SiteInbox inbox, ReadyState ready, TimeProvider time, ILogger<EmbeddedBroker> logger)
    : BackgroundService
{
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(1);

    /// <summary>Who is connected, by connection.</summary>
    private readonly ConcurrentDictionary<string, Guest> guests = new(StringComparer.Ordinal);

    /// <summary>Who has which client id, of each unit's own: else a unit could keep another out by taking its id. Guarded by itself.</summary>
    private readonly Dictionary<(UnitId Unit, string ClientId), Guest> holders = [];
    private long connections;
    private readonly EmbeddedSparkplug sparkplug = new(options.ClientId, inbox.Sparkplug, time);

    /// <summary>Made when the service starts, gone when it stops.</summary>
    private MqttServer? server;

    /// <exception cref="SocketException">The port is not free: better to say so at the start than to run deaf.</exception>
    public override async Task StartAsync(CancellationToken cancellationToken)
    {
        var listener = new UnitListener(new(IPAddress.Parse(options.ListenAddress), options.ListenPort), inbox, time);
        server = new MqttServerFactory().CreateMqttServer(new MqttServerOptionsBuilder().WithoutDefaultEndpoint().Build(), [listener]);
        server.ValidatingConnectionAsync += AdmitAsync;
        server.ClientDisconnectedAsync += ForgetAsync;
        server.InterceptingSubscriptionAsync += InterceptSubscriptionAsync;
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

    protected override Task ExecuteAsync(CancellationToken stoppingToken) =>
        Task.WhenAll(sparkplug.SpeakAsync(server!, stoppingToken), EndRevokedAsync(stoppingToken), EndSilentAsync(stoppingToken));

    /// <summary>Ends connections whose units have gone without a word.</summary>
    private async Task EndSilentAsync(CancellationToken stoppingToken)
    {
        while (!stoppingToken.IsCancellationRequested)
        {
            foreach (var guest in guests.Values.Where(guest => guest.Link.IsSilent))
            {
                _ = DisconnectAsync(guest, MqttDisconnectReasonCode.KeepAliveTimeout); // Not waited for: its link may be half open.
            }

            await WaitAsync(LookEvery, stoppingToken);
        }
    }

    /// <summary>Ends connections whose credentials were revoked or replaced, by whatever process.</summary>
    private async Task EndRevokedAsync(CancellationToken stoppingToken)
    {
        long? seen = null;
        while (!access.Open && !stoppingToken.IsCancellationRequested)
        {
            try
            {
                var changes = ledger.ReadChanges();
                if (changes != seen)
                {
                    await DisconnectRevokedAsync();
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
        // MQTT 3.1.1 lets a client with a clean session leave its id empty [MQTT-3.1.3-6], and many a command-line tool does.
        var clientId = args.ClientId;
        if (string.IsNullOrEmpty(clientId))
        {
            if (args.CleanSession != true)
            {
                return MqttConnectReasonCode.ClientIdentifierNotValid;
            }

            args.AssignedClientIdentifier = clientId = $"unnamed-{Guid.NewGuid():N}";
        }

        var (unit, secret) = (default(UnitId), Array.Empty<byte>());
        if (!access.Open)
        {
            if (!IdRule.Holds(args.UserName) || args.Password is not { Length: > 0 and <= 256 } password
                || !ledger.CheckUnit(new(args.UserName), password))
            {
                LogRefusedConnection(Shown(args.UserName), Shown(clientId));
                return MqttConnectReasonCode.BadUserNameOrPassword;
            }

            (unit, secret) = (new(args.UserName), LedgerStore.HashOf(password));
        }

        var link = (UnitLink)args.ChannelAdapter;
        var guest = new Guest($"{Interlocked.Increment(ref connections)}:{clientId}", clientId, unit, secret, link);
        Seat(guest);

        // When two connections of one client id overlap, the library now and then throws out the newer one while it clears away after the
        // older. So each has an id of its own there, and who replaces whom is decided here. The packet itself is the only way to say it.
        ConnectPacketOf(args).ClientId = guest.Connection;

        // The library does not see what goes straight to the sites, and would take the unit for silent.
        link.Admit(
            TimeSpan.FromSeconds(args.KeepAlivePeriod ?? 0), access.Open ? null : topic => !guest.Replaced && IsOwnTopic(unit.Value, topic));
        ConnectPacketOf(args).KeepAlivePeriod = 0;
        return MqttConnectReasonCode.Success;
    }

    /// <summary>A client id takes over the unit's connection that has it [MQTT-3.1.4-3].</summary>
    private void Seat(Guest guest)
    {
        Guest? older;
        lock (holders)
        {
            older = holders.GetValueOrDefault(guest.Seat);
            holders[guest.Seat] = guests[guest.Connection] = guest;
        }

        if (older is not null)
        {
            older.Replaced = true;
            _ = DisconnectAsync(older, MqttDisconnectReasonCode.SessionTakenOver); // Not waited for: its link may be half open.
        }
    }

    private async Task DisconnectAsync(Guest guest, MqttDisconnectReasonCode reason)
    {
        try
        {
            await server!.DisconnectClientAsync(guest.Connection, reason);
        }
        catch (Exception fault) when (ConnectionFault.Is(fault))
        {
            // It has gone by itself.
        }
    }

    [UnsafeAccessor(UnsafeAccessorKind.Field, Name = "_connectPacket")]
    private static extern ref MqttConnectPacket ConnectPacketOf(ValidatingConnectionEventArgs args);

    private Task ForgetAsync(ClientDisconnectedEventArgs args)
    {
        if (guests.TryRemove(args.ClientId, out var guest))
        {
            lock (holders)
            {
                if (holders.TryGetValue(guest.Seat, out var holder) && holder == guest)
                {
                    holders.Remove(guest.Seat);
                }
            }
        }

        return Task.CompletedTask;
    }

    private Task InterceptSubscriptionAsync(InterceptingSubscriptionEventArgs args)
    {
        if (!access.Open && !sparkplug.MaySubscribe(args.UserName, args.TopicFilter.Topic))
        {
            args.Response.ReasonCode = MqttSubscribeReasonCode.NotAuthorized;
            args.ProcessSubscription = false;
        }

        return Task.CompletedTask;
    }

    /// <summary>Returns, and so lets the PUBACK go, when the message is durable. No exception may leave it.</summary>
    private async Task TakeAsync(InterceptingPublishEventArgs args)
    {
        var isOurs = sparkplug.IsOurs(args.ClientId);
        args.ProcessPublish = access.Open || isOurs;
        if (isOurs)
        {
            return;
        }

        try
        {
            if (guests.TryGetValue(args.ClientId, out var guest) && guest.Replaced)
            {
                // Its will says that the unit is gone, when it is back; anything else comes again on the newer connection.
                (args.ProcessPublish, args.CloseConnection) = (false, true);
                return;
            }

            var message = args.ApplicationMessage;
            if (!access.Open && !IsOwnTopic(args.UserName, message.Topic))
            {
                LogForeignTopic(Shown(args.UserName), Shown(message.Topic));
                args.Response.ReasonCode = MqttPubAckReasonCode.NotAuthorized;
                args.CloseConnection = true; // MQTT 3.1.1 has no other way to say no.
                return;
            }

            // A retain flag here asks us to keep the message; it does not say that the message is old.
            var received = new ReceivedMessage(message.Topic, message.Payload.ToArray(), Retained: false, time.GetUtcNow(), PublisherTrace.Of(message.UserProperties));
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
    private bool IsOwnTopic(string? userName, string topic) => sparkplug.MayPublish(userName, topic)
        ?? (!(SenmlDecoder.TryReadTopic(topic, out var unit) || FieldMessageDecoder.TryReadTopic(topic, out unit, out _, out _)) || unit.Value == userName);

    private async Task DisconnectRevokedAsync()
    {
        var secrets = ledger.ListUnitSecrets();
        foreach (var guest in guests.Values)
        {
            if (!secrets.TryGetValue(guest.Unit, out var secret) || !CryptographicOperations.FixedTimeEquals(secret, guest.SecretHash))
            {
                LogRevoked(guest.Unit.Value);
                await DisconnectAsync(guest, MqttDisconnectReasonCode.NotAuthorized);
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

    private sealed class Guest(string connection, string clientId, UnitId unit, byte[] secretHash, UnitLink link)
    {
        private volatile bool replaced;

        /// <summary>What the library knows the connection by.</summary>
        public string Connection => connection;

        public (UnitId Unit, string ClientId) Seat => (unit, clientId);

        /// <summary>Of nobody where anybody is let in.</summary>
        public UnitId Unit => unit;

        public byte[] SecretHash => secretHash;

        public UnitLink Link => link;

        /// <summary>A newer connection has its client id.</summary>
        public bool Replaced
        {
            get => replaced;
            set => replaced = value;
        }
    }

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
