using TankWatch.Core;

namespace TankWatch.Service.Sites;

/// <summary>Wakes everybody who follows the log of alerts when it has grown. They read it by position, so a slow one costs nothing here.</summary>
public sealed class AlertBell
{
    private TaskCompletionSource rung = Unrung();

    /// <summary>Completes at the next ring. Take it before reading the log, and nothing is missed between the two.</summary>
    public Task Next => Volatile.Read(ref rung).Task;

    public void Ring() => Interlocked.Exchange(ref rung, Unrung()).TrySetResult();

    private static TaskCompletionSource Unrung() => new(TaskCreationOptions.RunContinuationsAsynchronously);
}

/// <summary>
/// What one reader has not yet been told of: a set of sites, however often each of them changed, so that a slow reader holds no more
/// than their ids.
/// </summary>
public sealed class SiteWatch : IDisposable
{
    private readonly Lock gate = new();
    private readonly Predicate<SiteId> matters;
    private readonly Action<SiteWatch> end;
    private readonly HashSet<SiteId> changed = [];
    private TaskCompletionSource any = new(TaskCreationOptions.RunContinuationsAsynchronously);

    internal SiteWatch(Predicate<SiteId> matters, Action<SiteWatch> end) => (this.matters, this.end) = (matters, end);

    /// <summary>Completes once there is something to take.</summary>
    public Task Any
    {
        get
        {
            lock (gate)
            {
                return any.Task;
            }
        }
    }

    /// <summary>The sites that changed since the last time, each once, by id.</summary>
    public IReadOnlyList<SiteId> Take()
    {
        lock (gate)
        {
            if (changed.Count == 0)
            {
                return [];
            }

            var taken = changed.OrderBy(site => site.Value, StringComparer.Ordinal).ToList();
            changed.Clear();
            any = new(TaskCreationOptions.RunContinuationsAsynchronously);
            return taken;
        }
    }

    public void Dispose() => end(this);

    internal void Add(IEnumerable<SiteId> sites)
    {
        lock (gate)
        {
            changed.UnionWith(sites.Where(site => matters(site)));
            if (changed.Count > 0)
            {
                any.TrySetResult();
            }
        }
    }
}
