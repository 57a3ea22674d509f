using TankWatch.Core;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>
/// Has the journal folded when enough of it waits: first every site concerned is marked, a few at a time between the messages, then
/// the fold itself runs beside the keeper. Owned by the keeper.
/// </summary>
internal sealed partial class Folding(SeriesStore series, ILogger logger)
{
    /// <summary>So many rows wait in memory at most, or a little more.</summary>
    public const int RowsDue = 200_000;

    /// <summary>Rows wait no longer than this: a restart has less to go through.</summary>
    public static readonly TimeSpan AgeDue = TimeSpan.FromMinutes(10);

    private const int SitesAtOnce = 32;
    private static readonly TimeSpan Retry = TimeSpan.FromSeconds(30);

    private readonly Queue<SiteId> toMark = new();
    private bool isBegun;
    private long position;
    private Task? running;
    private DateTimeOffset? waitingSince;
    private DateTimeOffset notBefore;

    /// <returns>Sites that are to be marked in this step.</returns>
    public IReadOnlyList<SiteId> Due(DateTimeOffset now)
    {
        if (!isBegun && running is null && IsDue(now))
        {
            position = series.Position;
            foreach (var site in series.Fold.WaitingSites())
            {
                toMark.Enqueue(site);
            }

            isBegun = true;
        }

        return [.. toMark.Take(SitesAtOnce)];
    }

    /// <summary>Those sites' marks are on disk; after the last of them the fold begins.</summary>
    public void Marked(int sites, CancellationToken stop)
    {
        for (; sites > 0; sites--)
        {
            toMark.Dequeue();
        }

        if (isBegun && toMark.Count == 0)
        {
            isBegun = false;
            running = Task.Run(() => series.Fold.Run(position, stop), stop);
        }
    }

    /// <summary>The marks may be wrong; all is begun anew.</summary>
    public void GiveUp(DateTimeOffset now)
    {
        toMark.Clear();
        isBegun = false;
        notBefore = now + Retry;
    }

    /// <summary>Takes notice of a fold that has ended.</summary>
    public void Look(DateTimeOffset now)
    {
        if (running is not { IsCompleted: true } ended)
        {
            return;
        }

        running = null;
        waitingSince = null;
        if (ended.Exception is { } fault)
        {
            LogFault(Database.OneLine(fault.GetBaseException()));
            notBefore = now + Retry;
        }
    }

    /// <summary>Returns when no fold runs any more.</summary>
    public async Task EndAsync()
    {
        if (running is not null)
        {
            await running.ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);
        }
    }

    private bool IsDue(DateTimeOffset now)
    {
        if (!series.Fold.IsWanted || now < notBefore)
        {
            return false;
        }

        waitingSince ??= now;
        return series.Fold.Waiting >= RowsDue || now - waitingSince >= AgeDue;
    }

    [LoggerMessage(Level = LogLevel.Warning, Message = "the journal could not be folded, and is tried again: {Reason}")]
    private partial void LogFault(string reason);
}
