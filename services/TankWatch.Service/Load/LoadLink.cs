using System.Buffers;
using System.Diagnostics;
using System.Threading.Channels;
using MQTTnet;
using MQTTnet.Adapter;
using MQTTnet.Diagnostics.Logger;
using MQTTnet.Exceptions;
using MQTTnet.Formatter;
using MQTTnet.Implementations;
using MQTTnet.Packets;
using MQTTnet.Protocol;

namespace TankWatch.Service.Load;

/// <summary>
/// One unit's connection. It speaks through the library's packets and not its client, which keeps a task for each message in flight:
/// what measures must cost little beside what is measured.
/// </summary>
internal sealed class LoadLink(LoadUnit unit, LoadTotals totals, TimeProvider time) : IDisposable
{
    /// <summary>Messages in flight on one connection, and so the ids in use: acknowledgements come in order [MQTT-4.6.0-2].</summary>
    private const int Window = 256;

    /// <summary>When the messages in flight were to be sent, by packet id.</summary>
    private readonly long[] intended = new long[Window + 1];

    private readonly Channel<long> due = Channel.CreateUnbounded<long>(new UnboundedChannelOptions { SingleReader = true, SingleWriter = true });
    private readonly SemaphoreSlim free = new(0);
    private MqttChannelAdapter? adapter;
    private int window = Window;

    /// <exception cref="MqttCommunicationException">No connection, or the broker refused it.</exception>
    public async Task ConnectAsync(MqttClientOptions options, CancellationToken stop)
    {
        var formatter = new MqttPacketFormatterAdapter(MqttProtocolVersion.V500, new MqttBufferWriter(4096, 65536));
        adapter = new(new MqttTcpChannel(options), formatter, MqttNetNullLogger.Instance);
        await adapter.ConnectAsync(stop);
        await adapter.SendPacketAsync(
            new MqttConnectPacket
            {
                ClientId = unit.Id, CleanSession = true, Username = options.Credentials?.GetUserName(options), Password = options.Credentials?.GetPassword(options),
            },
            stop);
        if (await adapter.ReceivePacketAsync(stop) is not MqttConnAckPacket answer)
        {
            throw new MqttCommunicationException("the broker closed the connection");
        }

        if (answer.ReasonCode != MqttConnectReasonCode.Success)
        {
            throw new MqttCommunicationException($"the broker refused the connection: {answer.ReasonCode}");
        }

        window = answer.ReceiveMaximum is > 0 and < Window ? answer.ReceiveMaximum : Window; // [MQTT-3.3.4-7]
        free.Release(window);
    }

    /// <summary>A message is due at <paramref name="timestamp"/>; if it has to wait for others, its latency counts from then all the same.</summary>
    public void Due(long timestamp) => due.Writer.TryWrite(timestamp);

    /// <summary>No more messages become due.</summary>
    public void Finish() => due.Writer.TryComplete();

    /// <summary>Sends until all is sent and acknowledged, or the connection ends.</summary>
    /// <param name="unpaced">Without a pace: whether to go on. Null sends what is due.</param>
    /// <param name="stop">Ends it early.</param>
    public async Task RunAsync(Func<bool>? unpaced, CancellationToken stop)
    {
        using var ended = CancellationTokenSource.CreateLinkedTokenSource(stop);
        var receiving = ReceiveAsync(ended);
        try
        {
            await SendAllAsync(unpaced, ended.Token);
            for (var slot = 0; slot < window && !ended.IsCancellationRequested; slot++)
            {
                await free.WaitAsync(ended.Token);
            }
        }
        catch (Exception fault) when (fault is OperationCanceledException or MqttCommunicationException or IOException)
        {
            // What is not acknowledged is counted at the end.
        }

        await ended.CancelAsync();
        await receiving;
    }

    public void Dispose()
    {
        adapter?.Dispose();
        free.Dispose();
    }

    private async Task SendAllAsync(Func<bool>? unpaced, CancellationToken stop)
    {
        var seq = 0L;
        while (unpaced is null ? await due.Reader.WaitToReadAsync(stop) : unpaced())
        {
            if (unpaced is not null)
            {
                await SendAsync(++seq, null, stop);
                continue;
            }

            while (due.Reader.TryRead(out var timestamp))
            {
                await SendAsync(++seq, timestamp, stop);
            }
        }
    }

    private async Task SendAsync(long seq, long? timestamp, CancellationToken stop)
    {
        await free.WaitAsync(stop);
        var id = (int)((seq - 1) % Window) + 1;
        intended[id] = timestamp ?? Stopwatch.GetTimestamp();
        totals.CountSent();
        await adapter!.SendPacketAsync(
            new MqttPublishPacket
            {
                Topic = unit.Topic, QualityOfServiceLevel = MqttQualityOfServiceLevel.AtLeastOnce, PacketIdentifier = (ushort)id,
                Payload = new ReadOnlySequence<byte>(unit.Message(seq, time.GetUtcNow())),
            },
            stop);
    }

    private async Task ReceiveAsync(CancellationTokenSource ended)
    {
        try
        {
            while (await adapter!.ReceivePacketAsync(ended.Token) is { } packet)
            {
                if (packet is MqttPubAckPacket answer)
                {
                    totals.CountAnswer(Stopwatch.GetElapsedTime(intended[answer.PacketIdentifier]), answer.ReasonCode < MqttPubAckReasonCode.UnspecifiedError);
                    free.Release();
                }
            }
        }
        catch (Exception fault) when (fault is OperationCanceledException or MqttCommunicationException or IOException)
        {
            // The end, or the loss, of the connection.
        }

        await ended.CancelAsync();
    }
}
