namespace TankWatch.Service.Ingest;

/// <summary>A bound on bytes held at one time. Over it, takers wait.</summary>
/// <param name="limit">Bytes, greater than 0. The last one let in may exceed it, so that a single large message is never stuck.</param>
internal sealed class PayloadBudget(long limit)
{
    private readonly Lock gate = new();
    private long held;
    private TaskCompletionSource? room;

    /// <summary>Waits while the budget is spent, then takes <paramref name="bytes"/> of it.</summary>
    public ValueTask TakeAsync(int bytes, CancellationToken stop) => TryTake(bytes, out var freed) ? default : new(WaitAsync(bytes, freed, stop));

    /// <summary>Takes without waiting, for what is there already.</summary>
    public void Add(int bytes)
    {
        lock (gate)
        {
            held += bytes;
        }
    }

    /// <summary>Waits while the budget is spent, and takes nothing of it.</summary>
    public ValueTask RoomAsync(CancellationToken stop) => TakeAsync(0, stop);

    /// <summary>Gives back what was taken. Cheap, and never throws.</summary>
    public void Give(int bytes)
    {
        TaskCompletionSource? waiting = null;
        lock (gate)
        {
            held = Math.Max(0, held - bytes);
            if (held < limit)
            {
                (waiting, room) = (room, null);
            }
        }

        waiting?.TrySetResult();
    }

    /// <summary>Gives back all, when it is known that nothing is held.</summary>
    public void Clear() => Give(int.MaxValue);

    private bool TryTake(int bytes, out Task freed)
    {
        lock (gate)
        {
            if (held < limit)
            {
                held += bytes;
                freed = Task.CompletedTask;
                return true;
            }

            freed = (room ??= new(TaskCreationOptions.RunContinuationsAsynchronously)).Task;
            return false;
        }
    }

    private async Task WaitAsync(int bytes, Task freed, CancellationToken stop)
    {
        do
        {
            await freed.WaitAsync(stop);
        }
        while (!TryTake(bytes, out freed));
    }
}
