namespace TankWatch.Service.Mail;

/// <summary>Wakes the sender when letters were put in the outbox.</summary>
public sealed class OutboxBell : IDisposable
{
    private readonly SemaphoreSlim rung = new(0, 1);

    public void Ring()
    {
        try
        {
            rung.Release();
        }
        catch (SemaphoreFullException)
        {
            // It rings already, and one look finds all letters.
        }
    }

    public void Dispose() => rung.Dispose();

    internal Task<bool> WaitAsync(TimeSpan longest, CancellationToken stop) => rung.WaitAsync(longest, stop);
}
