namespace TankWatch.Service.Ingest;

/// <summary>Waits between tries: doubling, bounded, and scattered so that many clients do not come back in step.</summary>
public sealed class Backoff(TimeSpan first, TimeSpan longest)
{
    private int failures;

    public void Reset() => failures = 0;

    /// <returns>Between half and all of the doubled wait.</returns>
    public TimeSpan Next()
    {
        var whole = Math.Min(first.TotalMilliseconds * Math.Pow(2, Math.Min(failures++, 30)), longest.TotalMilliseconds);
        return TimeSpan.FromMilliseconds(whole * (0.5 + (Random.Shared.NextDouble() / 2)));
    }
}
