using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>
/// Has the journal folded when enough of it waits: every site concerned is marked, a few at a time between the messages; then the rows
/// are folded beside the keeper; then what is counted of units is saved, again a few at a time. Owned by the keeper.
/// </summary>
/// <param name="series">The journal.</param>
/// <param name="options">When it is due.</param>
/// <param name="time">How long it is at work.</param>
/// <param name="wake">Has the keeper come again; from any thread.</param>
/// <param name="logger">For faults.</param>
internal sealed partial class Folding(SeriesStore series, DataOptions options, TimeProvider time, Action wake, ILogger logger)
{
    /// <summary>Rows wait no longer than this: a restart has less to go through.</summary>
    public static readonly TimeSpan AgeDue = TimeSpan.FromMinutes(10);

    private const int SitesAtOnce = 8;
    private const int RestsPerWork = 2;
    private static readonly TimeSpan LongestRest = TimeSpan.FromMilliseconds(100);
    private static readonly TimeSpan Retry = TimeSpan.FromSeconds(30);

    private readonly Queue<SiteId> toMark = new();
    private Phase phase;
    private long position;
    private Task running = Task.CompletedTask;
    private volatile bool rowsDone;
    private Exception? rowsFault;
    private DateTimeOffset? waitingSince;
    private DateTimeOffset notBefore;
    private long sweptDay;

    private enum Phase { Idle, Marking, Rows, CountsFirst, Counts }

    /// <summary>The keeper should come again soon.</summary>
    public bool IsHurrying => phase is Phase.Marking or Phase.CountsFirst or Phase.Counts;

    /// <summary>Does what is due, and says which sites are to be marked in this step.</summary>
    public IReadOnlyList<SiteId> Due(DateTimeOffset now, CancellationToken stop)
    {
        switch (phase)
        {
            case Phase.Idle when IsDue(now):
                position = series.Position;
                phase = Phase.Marking;
                series.Fold.WaitingSites().ToList().ForEach(toMark.Enqueue);
                break;
            case Phase.Marking when toMark.Count == 0:
                phase = Phase.Rows;
                rowsDone = false;
                running = Task.Run(() => Rows(now, stop), stop);
                break;
            case Phase.Rows when rowsDone:
                phase = rowsFault is { } fault ? Failed(fault, now) : Phase.CountsFirst;
                break;
            case Phase.CountsFirst or Phase.Counts:
                phase = Counts(now);
                break;
        }

        return [.. toMark.Take(SitesAtOnce)];
    }

    /// <summary>Those sites' marks are on disk.</summary>
    public void Marked(int sites)
    {
        for (; sites > 0; sites--)
        {
            toMark.Dequeue();
        }
    }

    /// <summary>What was begun may be wrong; all is begun anew.</summary>
    public void GiveUp(DateTimeOffset now)
    {
        toMark.Clear();
        phase = Phase.Idle;
        notBefore = now + Retry;
    }

    /// <summary>Returns when no fold runs any more.</summary>
    public async Task EndAsync() => await running.ConfigureAwait(ConfigureAwaitOptions.SuppressThrowing);

    private void Rows(DateTimeOffset now, CancellationToken stop)
    {
        try
        {
            rowsFault = null;
            var began = time.GetTimestamp();
            foreach (var _ in series.Fold.Rows(position))
            {
                Rest(time.GetElapsedTime(began), stop);
                began = time.GetTimestamp();
            }

            var day = now.UtcTicks / TimeSpan.TicksPerDay;
            if (day > sweptDay)
            {
                series.Fold.Sweep(now.AddDays(-options.KeepRawDays), stop);
                sweptDay = day;
            }
        }
        catch (Exception fault) when (fault is not OperationCanceledException)
        {
            rowsFault = fault;
        }
        finally
        {
            rowsDone = true;
            wake();
        }
    }

    /// <summary>Leaves the processor and the writer to what comes in, unless more comes in than can be folded that way.</summary>
    private void Rest(TimeSpan worked, CancellationToken stop)
    {
        if (series.Fold.Waiting < 2 * options.FoldRows)
        {
            var rest = RestsPerWork * worked;
            stop.WaitHandle.WaitOne(rest < LongestRest ? rest : LongestRest);
        }

        stop.ThrowIfCancellationRequested();
    }

    private Phase Counts(DateTimeOffset now)
    {
        try
        {
            if (!series.Fold.Counts(position, phase == Phase.CountsFirst))
            {
                return Phase.Counts;
            }

            waitingSince = null;
            return Phase.Idle;
        }
        catch (Exception fault) when (fault is SqliteException or StoreException and not StoreReplacedException)
        {
            return Failed(fault, now);
        }
    }

    private Phase Failed(Exception fault, DateTimeOffset now)
    {
        LogFault(Database.OneLine(fault));
        notBefore = now + Retry;
        return Phase.Idle;
    }

    private bool IsDue(DateTimeOffset now)
    {
        if (!series.Fold.IsWanted || now < notBefore || !running.IsCompleted) // One that was given up may still be at its rows.
        {
            return false;
        }

        waitingSince ??= now;
        return series.Fold.Waiting >= options.FoldRows || now - waitingSince >= AgeDue;
    }

    [LoggerMessage(Level = LogLevel.Warning, Message = "the journal could not be folded, and is tried again: {Reason}")]
    private partial void LogFault(string reason);
}
