namespace TankWatch.Simulator.Units;

/// <summary>Messages on their way, handed over in order of arrival.</summary>
internal sealed class Outbox
{
    private readonly PriorityQueue<SimulatedMessage, (DateTimeOffset ArrivesAt, long Order)> _underway = new();
    private long _order;

    public void Send(SimulatedMessage message) => _underway.Enqueue(message, (message.ArrivesAt, _order++));

    public List<SimulatedMessage> TakeArrived(DateTimeOffset until)
    {
        var arrived = new List<SimulatedMessage>();
        while (_underway.TryPeek(out var message, out _) && message.ArrivesAt <= until)
        {
            arrived.Add(_underway.Dequeue());
        }

        return arrived;
    }
}
