using System.Threading.Channels;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Service.Ingest;

namespace TankWatch.Service.Sites;

/// <summary>What became of a person's command.</summary>
public abstract record CommandOutcome
{
    /// <param name="Alert">As it is now.</param>
    public sealed record Done(Alert Alert) : CommandOutcome;

    public sealed record NotFound : CommandOutcome;

    /// <param name="Reason">For the person, in one line.</param>
    public sealed record Refused(string Reason) : CommandOutcome;
}

/// <summary>Work for the keeper of all sites.</summary>
internal abstract record Work
{
    /// <param name="Received">As it came.</param>
    /// <param name="Durable">Completed when it is on disk.</param>
    public sealed record Message(ReceivedMessage Received, TaskCompletionSource Durable) : Work;

    public sealed record Command(AlertCommand Asked, TaskCompletionSource<CommandOutcome> Outcome) : Work;

    /// <summary>Sites may have changed in the store.</summary>
    public sealed record Refresh(TaskCompletionSource Done) : Work;

    /// <summary>Time has passed.</summary>
    public sealed record Wake : Work;
}

/// <summary>
/// The one way in to the sites. Bounded: when the keeper cannot keep up, or the disk is full, writers wait, and with them the
/// brokers and the units; nothing is dropped unseen.
/// </summary>
public sealed class SiteInbox
{
    public const int Limit = 10_000;

    private readonly Channel<Work> channel = Channel.CreateBounded<Work>(
        new BoundedChannelOptions(Limit) { SingleReader = true, FullMode = BoundedChannelFullMode.Wait });

    private long listeningSince;

    /// <summary>How much waits.</summary>
    public int Depth => channel.Reader.Count;

    internal ChannelReader<Work> Reader => channel.Reader;

    /// <summary>Since when a broker delivers to us, UTC; null while none does.</summary>
    internal DateTimeOffset? ListeningSince => Interlocked.Read(ref listeningSince) is var ticks and not 0 ? new(ticks, TimeSpan.Zero) : null;

    /// <summary>Hands a message over; waits while the inbox is full.</summary>
    /// <returns>A task that completes when the message is durable, and is cancelled when the service stops before that.</returns>
    public async Task<Task> TakeInAsync(ReceivedMessage message, CancellationToken stop)
    {
        var durable = new TaskCompletionSource(TaskCreationOptions.RunContinuationsAsynchronously);
        await channel.Writer.WriteAsync(new Work.Message(message, durable), stop);
        return durable.Task;
    }

    /// <summary>Completes when the message is durable.</summary>
    public async Task ReceiveAsync(ReceivedMessage message, CancellationToken stop) => await (await TakeInAsync(message, stop)).WaitAsync(stop);

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
            return new CommandOutcome.Refused("the service is going down; nothing was changed");
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
}
