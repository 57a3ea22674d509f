namespace TankWatch.Service.Webhooks;

/// <summary>How many deliveries may be under way at once, over all targets.</summary>
/// <remarks>Targets whose last try failed share a few places of their own: however many of them hang, those that are well do not wait for them.</remarks>
internal sealed class WebhookPlaces : IDisposable
{
    private readonly SemaphoreSlim well = new(16);
    private readonly SemaphoreSlim ailing = new(4);

    /// <summary>Waits for a place; dispose what is returned to leave it.</summary>
    public async Task<IDisposable> EnterAsync(bool isAiling, CancellationToken stop)
    {
        var places = isAiling ? ailing : well;
        await places.WaitAsync(stop);
        return new Place(places);
    }

    public void Dispose()
    {
        well.Dispose();
        ailing.Dispose();
    }

    private sealed class Place(SemaphoreSlim places) : IDisposable
    {
        public void Dispose() => places.Release();
    }
}
