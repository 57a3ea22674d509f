using System.Security.Cryptography.X509Certificates;
using MQTTnet;
using MQTTnet.Formatter;
using MQTTnet.Protocol;
using TankWatch.Core.FieldMessages;
using TankWatch.Service.Configuration;

namespace TankWatch.Service.Ingest;

/// <summary>How an external broker is spoken to. <c>docs/connecting.md</c> says it to operators.</summary>
internal static class BrokerDialling
{
    /// <summary>Kept by the broker while we are away. A month: long enough for any repair, short enough to be cleaned up after.</summary>
    public const uint SessionExpirySeconds = 30 * 24 * 3600;

    /// <summary>Unset, a stock broker drops what does not fit in flight. It is no bound of what we hold: <see cref="Deliveries"/> has that.</summary>
    private const ushort ReceiveMaximum = 65535;

    /// <summary>Well above what a message may have, so that one too large is seen, kept and counted instead of dropped by the broker.</summary>
    private const uint MaximumPacketBytes = 8 * 1024 * 1024;

    public static readonly TimeSpan ConnectTimeout = TimeSpan.FromSeconds(15);

    /// <summary>The broker closes after 1.5 times this without a packet from us [MQTT-3.1.2-22].</summary>
    private static readonly TimeSpan KeepAlive = TimeSpan.FromSeconds(15);

    public static async Task<MqttClientOptions> ConnectAsync(MqttOptions options, BrokerStreamProvider streams, SparkplugVoice sparkplug, CancellationToken stop)
    {
        var builder = Usual(options.Host!, options.Port, options.ClientId)
            .WithCleanStart(false)
            .WithSessionExpiryInterval(SessionExpirySeconds)
            .WithReceiveMaximum(ReceiveMaximum)
            .WithMaximumPacketSize(MaximumPacketBytes);
        await IntroduceAsync(builder, options, stop);
        sparkplug.AddWill(builder);
        var built = builder.Build();
        ((MqttClientTcpOptions)built.ChannelOptions).StreamProvider = streams;
        return built;
    }

    /// <summary>For the service's own unit, which only publishes and needs no session.</summary>
    public static async Task<MqttClientOptions> OwnUnitAsync(MqttOptions options, CancellationToken stop)
    {
        var builder = Usual(options.Host!, options.Port, options.ClientId + "-itself");
        await IntroduceAsync(builder, options, stop);
        return builder.Build();
    }

    public static MqttClientOptionsBuilder Usual(string host, int port, string clientId) => new MqttClientOptionsBuilder()
        .WithProtocolVersion(MqttProtocolVersion.V500)
        .WithTcpServer(host, port)
        .WithClientId(clientId)
        .WithKeepAlivePeriod(KeepAlive)
        .WithTimeout(ConnectTimeout)
        .WithTryPrivate(false);

    public static MqttClientSubscribeOptions Subscribe(MqttOptions options)
    {
        var topics = $"{FieldMessageDecoder.TopicPrefix}+/+";
        return new MqttClientSubscribeOptionsBuilder().WithTopicFilter(filter => filter
            .WithTopic(options.ShareName is { } share ? $"$share/{share}/{topics}" : topics)
            .WithAtLeastOnceQoS()
            .WithRetainHandling(MqttRetainHandling.SendAtSubscribeIfNewSubscriptionOnly)).Build();
    }

    private static async Task IntroduceAsync(MqttClientOptionsBuilder builder, MqttOptions options, CancellationToken stop)
    {
        if (options.User is { } user)
        {
            var password = options.PasswordFile is { } file ? (await File.ReadAllTextAsync(file, stop)).TrimEnd('\r', '\n') : "";
            builder.WithCredentials(user, password);
        }

        if (options.Tls)
        {
            builder.WithTlsOptions(tls => UseTls(tls, options));
        }
    }

    private static void UseTls(MqttClientTlsOptionsBuilder tls, MqttOptions options)
    {
        tls.UseTls().WithTargetHost(options.Host);
        if (options.CaFile is { } authority)
        {
            var trusted = new X509Certificate2Collection();
            trusted.ImportFromPemFile(authority);

            // A private authority seldom publishes a revocation list, and its absence would count as revoked.
            tls.WithTrustChain(trusted).WithRevocationMode(X509RevocationMode.NoCheck);
        }
    }
}
