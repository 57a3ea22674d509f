using System.Diagnostics;
using System.Net.Sockets;
using MQTTnet.Adapter;
using MQTTnet.Diagnostics.Logger;
using MQTTnet.Exceptions;
using MQTTnet.Formatter;
using MQTTnet.Formatter.V5;
using MQTTnet.Packets;
using MQTTnet.Protocol;
using TankWatch.Service.Ingest;

namespace TankWatch.Service.Load;

/// <summary>
/// One unit's connection. It speaks through the library's packets and not its client, which keeps a task for each message in flight:
/// what measures must cost little beside what is measured.
/// </summary>
internal sealed class LoadLink(LoadUnit unit, LoadTotals totals, TimeProvider time) : IDisposable
{
    /// <summary>Messages in flight on one connection, and so the ids in use: acknowledgements come in order [MQTT-4.6.0-2].</summary>
    private const int Window = 32;

    private const int PacketBytes = 256;

    /// <summary>A PUBACK that says nothing but the id of its message.</summary>
    private const int AnswerBytes = 4;

    private readonly Lock gate = new();

    /// <summary>When the messages in flight were to be sent, by packet id.</summary>
    private readonly long[] intended = new long[Window + 1];

    /// <summary>When the messages were to be sent for which there is no room in flight.</summary>
    private readonly Queue<long> waiting = new();

    private readonly MqttV5PacketEncoder encoder = new(new MqttBufferWriter(PacketBytes, PacketBytes));
    private readonly byte[] payload = new byte[PacketBytes];
    private readonly MqttPublishPacket message = new() { Topic = unit.Topic, QualityOfServiceLevel = MqttQualityOfServiceLevel.AtLeastOnce };
    private readonly TaskCompletionSource done = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private Socket? socket;
    private UnitChannel? channel;
    private MqttChannelAdapter? packets;
    private Func<bool>? unpaced;
    private bool isFinished;
    private long seq;
    private int free = Window;
    private int window = Window;

    /// <summary>Completes when all is sent and acknowledged, or the connection has ended.</summary>
    public Task Done => done.Task;

    /// <exception cref="MqttCommunicationException">The broker refused the connection.</exception>
    /// <exception cref="SocketException">There is no broker.</exception>
    public async Task ConnectAsync(LoadOptions options, CancellationToken stop)
    {
        socket = new(SocketType.Stream, ProtocolType.Tcp) { NoDelay = true };
        await socket.ConnectAsync(options.Host, options.Port, stop);
        channel = new(socket);
        packets = new(channel, new(MqttProtocolVersion.V500, new MqttBufferWriter(PacketBytes, PacketBytes)), MqttNetNullLogger.Instance);
        var (user, password) = options.CredentialsOf(unit);
        await packets.SendPacketAsync(new MqttConnectPacket { ClientId = unit.Id, CleanSession = true, Username = user, Password = password }, stop);
        channel.Flush();
        if (await packets.ReceivePacketAsync(stop) is not MqttConnAckPacket answer)
        {
            throw new MqttCommunicationException("the broker closed the connection");
        }

        if (answer.ReasonCode != MqttConnectReasonCode.Success)
        {
            throw new MqttCommunicationException($"the broker refused the connection: {answer.ReasonCode}");
        }

        free = window = answer.ReceiveMaximum is > 0 and < Window ? answer.ReceiveMaximum : Window; // [MQTT-3.3.4-7]
    }

    /// <summary>Reads acknowledgements until the connection or the run ends.</summary>
    /// <param name="unpaced">Without a pace: whether to go on sending as fast as it goes. Null sends what is due.</param>
    /// <param name="stop">Ends it early.</param>
    public async Task RunAsync(Func<bool>? unpaced, CancellationToken stop)
    {
        try
        {
            this.unpaced = unpaced;
            WakeAt(unpaced is null ? 1 : window / 2);
            SendWaiting();
            while (await packets!.ReceivePacketAsync(stop) is { } packet)
            {
                if (packet is MqttPubAckPacket answer)
                {
                    Take(answer);
                }
            }
        }
        catch (Exception fault) when (fault is OperationCanceledException or MqttCommunicationException or IOException)
        {
            // The end of the run, or the loss of the connection: what is not acknowledged is counted at the end.
        }

        done.TrySetResult();
    }

    /// <summary>A message is due at <paramref name="timestamp"/>; if it has to wait for others, its latency counts from then all the same.</summary>
    public void Due(long timestamp)
    {
        lock (gate)
        {
            waiting.Enqueue(timestamp);
        }

        SendWaiting();
    }

    /// <summary>No more messages become due.</summary>
    public void Finish()
    {
        lock (gate)
        {
            isFinished = true;
        }

        SendWaiting();
    }

    public void Dispose()
    {
        packets?.Dispose();
        channel?.Dispose();
        socket?.Dispose();
    }

    private void Take(MqttPubAckPacket answer)
    {
        totals.CountAnswer(Stopwatch.GetElapsedTime(intended[answer.PacketIdentifier]), answer.ReasonCode < MqttPubAckReasonCode.UnspecifiedError);
        lock (gate)
        {
            free++;
        }

        if (channel!.IsReadEmpty)
        {
            SendWaiting(); // Answers that came together are followed by messages that leave together.
        }
    }

    private void SendWaiting()
    {
        lock (gate)
        {
            while (free > 0 && (waiting.TryDequeue(out var timestamp) || MaySendNow(out timestamp)))
            {
                Send(timestamp);
            }

            if (free > 0 && unpaced is not null)
            {
                WakeAt(1); // These are the last.
            }

            if (free == window && (isFinished || unpaced is not null))
            {
                done.TrySetResult(); // There is nothing left to send, or it would have been sent.
            }
        }

        channel!.Flush();
    }

    /// <summary>Without a pace nobody asks when an answer came. Read with others, it costs the machine a fraction, which is for what is measured.</summary>
    private void WakeAt(int answers)
    {
        if (!OperatingSystem.IsWindows())
        {
            socket!.SetSocketOption(SocketOptionLevel.Socket, SocketOptionName.ReceiveLowWater, answers * AnswerBytes);
        }
    }

    private bool MaySendNow(out long timestamp)
    {
        timestamp = Stopwatch.GetTimestamp();
        return unpaced?.Invoke() == true;
    }

    private void Send(long timestamp)
    {
        var id = (int)(seq++ % Window) + 1;
        free--;
        intended[id] = timestamp;
        totals.CountSent();
        message.PacketIdentifier = (ushort)id;
        message.Payload = new(payload, 0, unit.WriteMessage(payload, seq, time.GetUtcNow()));
        var encoded = encoder.Encode(message);
        _ = channel!.WriteAsync(new(encoded.Packet), false, CancellationToken.None);
        _ = channel.WriteAsync(encoded.Payload, true, CancellationToken.None); // Queues both; a connection that has ended is noticed where it is read.
    }
}
