using System.Buffers;
using System.Net;
using System.Security.Cryptography.X509Certificates;
using System.Threading.Channels;
using MQTTnet.Adapter;
using MQTTnet.Diagnostics.Logger;
using MQTTnet.Exceptions;
using MQTTnet.Formatter;
using MQTTnet.Packets;
using MQTTnet.Protocol;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Ingest;

/// <summary>
/// One unit's connection to the embedded broker. Its messages of QoS 1 go straight to the sites, as many at a time as it sends, and are
/// acknowledged here when durable; the library would take one at a time, and costs several times as much for each. All else is the library's.
/// </summary>
/// <param name="channel">The bytes; owned.</param>
/// <param name="inbox">The sites.</param>
/// <param name="durable">Where messages go that may be acknowledged.</param>
/// <param name="time">Stamps what is received.</param>
internal sealed class UnitLink(UnitChannel channel, SiteInbox inbox, ChannelWriter<UnitDelivery> durable, TimeProvider time) : IMqttChannelAdapter
{
    private const int PacketBytes = 256;
    private const int PacketBytesKept = 64 * 1024;

    private readonly MqttChannelAdapter packets = new(
        channel, new MqttPacketFormatterAdapter(new MqttBufferWriter(PacketBytes, PacketBytesKept)), MqttNetNullLogger.Instance);

    private Func<string, bool>? mayTake;
    private TimeSpan longestSilence;
    private long heardAt = time.GetTimestamp();
    private volatile bool waitsForRoom;

    public long BytesReceived => packets.BytesReceived;

    public long BytesSent => packets.BytesSent;

    public X509Certificate2? ClientCertificate => null;

    public EndPoint? RemoteEndPoint => packets.RemoteEndPoint;

    public EndPoint? LocalEndPoint => packets.LocalEndPoint;

    public bool IsSecureConnection => false;

    public MqttPacketFormatterAdapter PacketFormatterAdapter => packets.PacketFormatterAdapter;

    /// <summary>Nothing was heard for one and a half times the keep alive, although we listened [MQTT-3.1.2-22].</summary>
    public bool IsSilent => longestSilence > TimeSpan.Zero && !waitsForRoom && time.GetElapsedTime(Interlocked.Read(ref heardAt)) > longestSilence;

    /// <summary>Called once, when the unit was let in.</summary>
    /// <param name="keepAlive">As the unit asked for; zero for none.</param>
    /// <param name="mayTake">Whether a topic's messages go straight to the sites; null for none.</param>
    public void Admit(TimeSpan keepAlive, Func<string, bool>? mayTake) => (longestSilence, this.mayTake) = (keepAlive * 1.5, mayTake);

    public Task ConnectAsync(CancellationToken cancellationToken) => packets.ConnectAsync(cancellationToken);

    public Task DisconnectAsync(CancellationToken cancellationToken) => packets.DisconnectAsync(cancellationToken);

    public async Task SendPacketAsync(MqttPacket packet, CancellationToken cancellationToken)
    {
        await packets.SendPacketAsync(packet, cancellationToken);
        channel.Flush();
        await channel.RoomAsync().WaitAsync(cancellationToken);
    }

    /// <returns>Null when the connection has ended.</returns>
    public async Task<MqttPacket?> ReceivePacketAsync(CancellationToken cancellationToken)
    {
        while (true)
        {
            var packet = await packets.ReceivePacketAsync(cancellationToken);
            Interlocked.Exchange(ref heardAt, time.GetTimestamp());
            if (packet is not MqttPublishPacket { QualityOfServiceLevel: MqttQualityOfServiceLevel.AtLeastOnce, TopicAlias: 0, Topic.Length: > 0 } message
                || mayTake?.Invoke(message.Topic) != true)
            {
                return packet;
            }

            if (!await TryTakeAsync(message, cancellationToken))
            {
                return null;
            }
        }
    }

    /// <summary>Queues an acknowledgement, to leave with the next <see cref="Flush"/>.</summary>
    public async ValueTask AcknowledgeAsync(ushort packetId)
    {
        try
        {
            await packets.SendPacketAsync(new MqttPubAckPacket { PacketIdentifier = packetId }, CancellationToken.None);
        }
        catch (Exception fault) when (fault is MqttCommunicationException or IOException or ObjectDisposedException or OperationCanceledException)
        {
            // The unit has gone; it sends the message again.
        }
    }

    public void Flush() => channel.Flush();

    /// <summary>Ends the connection without a word.</summary>
    public void Break() => channel.Dispose();

    public void ResetStatistics() => packets.ResetStatistics();

    public void Dispose() => packets.Dispose();

    /// <returns>False when the service goes down, or the connection ended meanwhile: the unit sends the message again.</returns>
    private async ValueTask<bool> TryTakeAsync(MqttPublishPacket message, CancellationToken stop)
    {
        // A retain flag here asks us to keep the message; it does not say that the message is old.
        var received = new ReceivedMessage(message.Topic, message.Payload.ToArray(), Retained: false, time.GetUtcNow(), PublisherTrace.Of(message.UserProperties));
        try
        {
            var taking = inbox.TakeInAsync(received, new UnitDelivery(this, message.PacketIdentifier, durable), stop);
            if (!taking.IsCompletedSuccessfully)
            {
                waitsForRoom = true;
                await taking;
                Interlocked.Exchange(ref heardAt, time.GetTimestamp());
                waitsForRoom = false;
            }

            return true;
        }
        catch (Exception fault) when (fault is OperationCanceledException or ChannelClosedException)
        {
            return false;
        }
    }
}

/// <summary>A message on its way from a unit to the disk.</summary>
/// <param name="link">That delivered it, and the only one on which it may be acknowledged.</param>
/// <param name="packetId">Its number there.</param>
/// <param name="durable">Where it goes when it may be acknowledged.</param>
internal sealed class UnitDelivery(UnitLink link, ushort packetId, ChannelWriter<UnitDelivery> durable) : IReceipt
{
    public UnitLink Link => link;

    public ushort PacketId => packetId;

    public void Durable() => durable.TryWrite(this);

    public void Abandoned() => link.Break();
}
