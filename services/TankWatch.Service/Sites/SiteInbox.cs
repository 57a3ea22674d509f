using System.Threading.Channels;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Texts;
using TankWatch.Service.Ingest;

namespace TankWatch.Service.Sites;

/// <summary>What became of a person's command.</summary>
public abstract record CommandOutcome
{
    /// <param name="Alert">As it is now.</param>
    public sealed record Done(Alert Alert) : CommandOutcome;

    public sealed record NotFound : CommandOutcome;

    /// <param name="Reason">For the person, in one line.</param>
    public sealed record Refused(Phrase Reason) : CommandOutcome;
}

/// <summary>Work for the keeper of all sites.</summary>
internal abstract record Work
{
    /// <param name="Received">As it came.</param>
    /// <param name="Receipt">To be told, once, in order of receipt, what became of it.</param>
    public sealed record Message(ReceivedMessage Received, IReceipt Receipt) : Work;

    public sealed record Command(AlertCommand Asked, TaskCompletionSource<CommandOutcome> Outcome) : Work;

    /// <summary>Sites may have changed in the store.</summary>
    public sealed record Refresh(TaskCompletionSource Done) : Work;

    /// <summary>Time has passed.</summary>
    public sealed record Wake : Work;
}

/// <summary>
/// The one way in to the sites. Bounded in messages, and in the bytes of those that are not yet durable: when the keeper cannot keep up,
/// or the disk is full, writers wait, and with them the brokers and the units; nothing is dropped unseen.
/// </summary>
public sealed class SiteInbox
{
    /// <summary>Messages, commands and wakings that may wait.</summary>
    public const int Limit = 10_000;

    /// <summary>Bytes of payload that may be taken in and not yet durable; one message may exceed it.</summary>
    public const long PayloadLimit = 64 * 1024 * 1024;

    private readonly PayloadBudget budget = new(PayloadLimit);
    private readonly Channel<Work> channel = Channel.CreateBounded<Work>(
        new BoundedChannelOptions(Limit) { SingleReader = true, FullMode = BoundedChannelFullMode.Wait });

    private long listeningSince;

    /// <summary>The edge nodes whose messages come this way.</summary>
    public SparkplugHost Sparkplug { get; } = new();

    /// <summary>How much waits.</summary>
    public int Depth => channel.Reader.Count;

    internal ChannelReader<Work> Reader => channel.Reader;

    /// <summary>Since when a broker delivers to us, UTC; null while none does.</summary>
    internal DateTimeOffset? ListeningSince => Interlocked.Read(ref listeningSince) is var ticks and not 0 ? new(ticks, TimeSpan.Zero) : null;

    /// <summary>Hands a message over; waits while the inbox is full.</summary>
    /// <param name="message">As it came.</param>
    /// <param name="receipt">Told what becomes of the message; null if nobody asks.</param>
    /// <param name="stop">Ends the waiting.</param>
    /// <exception cref="OperationCanceledException">Stopped before there was room: the receipt is told nothing.</exception>
    /// <exception cref="ChannelClosedException">The service is going down: the receipt is told nothing.</exception>
    public async ValueTask TakeInAsync(ReceivedMessage message, IReceipt? receipt, CancellationToken stop)
    {
        var held = message.Payload.Length;
        await budget.TakeAsync(held, stop);
        try
        {
            await channel.Writer.WriteAsync(new Work.Message(message, new Counted(budget, held, receipt)), stop);
        }
        catch
        {
            budget.Give(held);
            throw;
        }
    }

    /// <summary>Completes when the message is durable; is cancelled when the service stops before that.</summary>
    public async Task ReceiveAsync(ReceivedMessage message, CancellationToken stop)
    {
        var awaited = new Awaited();
        await TakeInAsync(message, awaited, stop);
        await awaited.Task.WaitAsync(stop);
    }

    internal async Task<CommandOutcome> TellAsync(AlertCommand command, CancellationToken stop)
    {
        var outcome = new TaskCompletionSource<CommandOutcome>(TaskCreationOptions.RunContinuationsAsynchronously);
        try
        {
            await channel.Writer.WriteAsync(new Work.Command(command, outcome), stop);
            return await outcome.Task.WaitAsync(stop);
        }
        catch (Exception fault) when (fault is ChannelClosedException || (fault is OperationCanceledException && !stop.IsCancellationRequested))
        {
            return new CommandOutcome.Refused(Phrase.Of("refusal.going-down"));
        }
    }

    internal async Task RefreshAsync(CancellationToken stop)
    {
        var done = new TaskCompletionSource(TaskCreationOptions.RunContinuationsAsynchronously);
        await channel.Writer.WriteAsync(new Work.Refresh(done), stop);
        await done.Task.WaitAsync(stop);
    }

    /// <summary>A broker delivers from now on: from here on silence means something.</summary>
    public void Listen(DateTimeOffset since) => Interlocked.Exchange(ref listeningSince, since.UtcTicks);

    /// <summary>No broker delivers: silence is our own.</summary>
    public void StopListening() => Interlocked.Exchange(ref listeningSince, 0);

    internal void Wake() => channel.Writer.TryWrite(new Work.Wake()); // When it is full, the keeper is awake.

    internal void Close() => channel.Writer.TryComplete();

    /// <summary>A message weighs on the budget until its fate is known.</summary>
    private sealed class Counted(PayloadBudget budget, int bytes, IReceipt? receipt) : IReceipt
    {
        public void Durable()
        {
            budget.Give(bytes);
            receipt?.Durable();
        }

        public void Abandoned()
        {
            budget.Give(bytes);
            receipt?.Abandoned();
        }
    }

    private sealed class Awaited : TaskCompletionSource, IReceipt
    {
        public Awaited()
            : base(TaskCreationOptions.RunContinuationsAsynchronously)
        {
        }

        public void Durable() => TrySetResult();

        public void Abandoned() => TrySetCanceled();
    }
}
