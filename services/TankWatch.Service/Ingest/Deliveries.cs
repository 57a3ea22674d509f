using System.Buffers;
using System.Text;
using System.Threading.Channels;
using MQTTnet;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Ingest;

/// <summary>
/// What one connection delivered: handed to the sites, and acknowledged on that same connection once durable, in order of receipt
/// [MQTT-4.6.0-2]. Dropped with the connection: the broker sends it again, and a late acknowledgement would eat a message that reuses its
/// packet id.
/// </summary>
/// <param name="inbox">The sites.</param>
/// <param name="time">Stamps what is received.</param>
/// <param name="lost">Told in one line when acknowledgements can no longer be sent.</param>
internal sealed class Deliveries(SiteInbox inbox, TimeProvider time, Action<string> lost) : IAsyncDisposable
{
    /// <summary>
    /// Of the bytes read from the connection, so many may be of messages that are not durable; over it nothing is read. The library's own
    /// queue has no limit, and a broker may send more than Receive Maximum allows (mosquitto 2.0.11 does when it drains a session).
    /// </summary>
    private const long HeldLimit = 4 * 1024 * 1024;

    /// <summary>What is counted as held was counted wrong when no message comes for so long and none waits to become durable.</summary>
    private static readonly TimeSpan Idle = TimeSpan.FromMilliseconds(100);

    // A byte of type, one or more of length, and two lengths, an id and the length of the properties; an identifier and two lengths.
    private const int FixedHeader = 8;
    private const int UserProperty = 5;

    private static readonly UnboundedChannelOptions OneReader = new() { SingleReader = true };

    // Both bounded by the budget.
    private readonly Channel<Delivery> taken = Channel.CreateUnbounded<Delivery>(OneReader);
    private readonly Channel<Delivery> durable = Channel.CreateUnbounded<Delivery>(OneReader);
    private readonly PayloadBudget budget = new(HeldLimit);
    private readonly CancellationTokenSource ended = new();
    private readonly TaskCompletionSource settled = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private Task handing = Task.CompletedTask;
    private Task acknowledging = Task.CompletedTask;

    private volatile bool draining;
    private long takenCount;
    private long doneCount;

    /// <summary>Messages handed to the sites whose fate is not known, and one more until no more are handed over.</summary>
    private int unsettled = 1;

    public void Start()
    {
        handing = Task.Run(HandOverAsync, CancellationToken.None);
        acknowledging = Task.Run(AcknowledgeAsync, CancellationToken.None);
    }

    /// <summary>Takes a message without waiting: a handler that waits would keep the library from noticing that the connection is gone.</summary>
    public void Take(MqttApplicationMessageReceivedEventArgs args)
    {
        var message = args.ApplicationMessage;
        var delivery = new Delivery(this, args, new(message.Topic, message.Payload.ToArray(), message.Retain, time.GetUtcNow(), PublisherTrace.Of(message.UserProperties)));
        Interlocked.Increment(ref takenCount);
        taken.Writer.TryWrite(delivery);
    }

    /// <summary>So many bytes were read from the connection.</summary>
    public void Read(int bytes) => budget.Add(bytes);

    /// <summary>Completes when there is room for more.</summary>
    public async ValueTask RoomAsync(CancellationToken stop)
    {
        var room = budget.RoomAsync(stop).AsTask();
        while (!room.IsCompleted)
        {
            var before = Interlocked.Read(ref takenCount);
            await Task.WhenAny(room, Task.Delay(Idle, time, stop));
            if (Interlocked.Read(ref takenCount) == before && Interlocked.Read(ref doneCount) == before)
            {
                budget.Clear();
            }
        }

        await room;
    }

    /// <summary>Hands over no more and waits until what the sites have is acknowledged.</summary>
    /// <exception cref="TimeoutException">It did not become durable in time.</exception>
    public async Task DrainAsync(TimeSpan patience)
    {
        draining = true;
        taken.Writer.TryComplete();
        await handing.WaitAsync(patience);
        Settle();
        await settled.Task.WaitAsync(patience);
        durable.Writer.TryComplete();
        await acknowledging.WaitAsync(patience);
    }

    /// <summary>Ends all work. What comes to be durable later is not acknowledged.</summary>
    public async ValueTask DisposeAsync()
    {
        taken.Writer.TryComplete();
        durable.Writer.TryComplete();
        await ended.CancelAsync();
        await Task.WhenAll(handing, acknowledging);
        ended.Dispose();
    }

    private async Task HandOverAsync()
    {
        try
        {
            await foreach (var delivery in taken.Reader.ReadAllAsync(ended.Token))
            {
                if (draining)
                {
                    return; // The rest is not acknowledged either, so the broker sends it again.
                }

                Interlocked.Increment(ref unsettled);
                await inbox.TakeInAsync(delivery.Received, delivery, ended.Token);
            }
        }
        catch (Exception fault) when (fault is OperationCanceledException or ChannelClosedException)
        {
            Settle(); // The connection ended, or the service goes down. Not acknowledged, so the broker sends it again.
        }
    }

    private async Task AcknowledgeAsync()
    {
        try
        {
            await foreach (var delivery in durable.Reader.ReadAllAsync(ended.Token))
            {
                await delivery.AcknowledgeAsync(ended.Token);
            }
        }
        catch (OperationCanceledException)
        {
            // The connection ended.
        }
        catch (Exception fault)
        {
            lost($"an acknowledgement could not be sent: {fault.Message.ReplaceLineEndings(" ")}");
        }
    }

    private void Settle()
    {
        if (Interlocked.Decrement(ref unsettled) == 0)
        {
            settled.TrySetResult();
        }
    }

    private sealed class Delivery(Deliveries deliveries, MqttApplicationMessageReceivedEventArgs args, ReceivedMessage received) : IReceipt
    {
        public ReceivedMessage Received => received;

        public Task AcknowledgeAsync(CancellationToken stop) => args.AcknowledgeAsync(stop);

        public void Durable()
        {
            deliveries.durable.Writer.TryWrite(this);
            Abandoned();
        }

        public void Abandoned()
        {
            Interlocked.Increment(ref deliveries.doneCount);
            deliveries.budget.Give(WireBytes());
            deliveries.Settle();
        }

        /// <summary>Of the packet, without properties that nobody needs to send: less is given back than was read, and <see cref="Idle"/> mends it.</summary>
        private int WireBytes()
        {
            var bytes = FixedHeader + Encoding.UTF8.GetByteCount(received.Topic) + received.Payload.Length;
            foreach (var property in args.ApplicationMessage.UserProperties ?? [])
            {
                bytes += UserProperty + Encoding.UTF8.GetByteCount(property.Name) + property.ValueBuffer.Length;
            }

            return bytes;
        }
    }
}
