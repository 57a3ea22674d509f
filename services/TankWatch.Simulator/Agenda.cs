namespace TankWatch.Simulator;

/// <summary>What a simulated site has to do later, in order of time and, at the same time, in the order of asking.</summary>
internal sealed class Agenda
{
    private readonly PriorityQueue<Action, (long AtMs, long Order)> _entries = new();
    private long _order;

    /// <summary>Unix milliseconds of the next entry; <see cref="long.MaxValue"/> when there is none.</summary>
    public long NextMs => _entries.TryPeek(out _, out var priority) ? priority.AtMs : long.MaxValue;

    public void At(long atMs, Action act) => _entries.Enqueue(act, (atMs, _order++));

    /// <summary>Makes the site look at its probes and controls again at that time.</summary>
    public void Wake(long atMs) => At(atMs, static () => { });

    public bool TryTake(long nowMs, out Action act)
    {
        if (NextMs <= nowMs)
        {
            act = _entries.Dequeue();
            return true;
        }

        act = static () => { };
        return false;
    }
}
