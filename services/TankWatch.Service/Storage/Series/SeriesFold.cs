using Microsoft.Data.Sqlite;
using TankWatch.Core;

namespace TankWatch.Service.Storage.Series;

/// <summary>
/// Puts the journal into per-device order, in the background and in short transactions, so that what comes in meanwhile does not wait.
/// A fold that is cut short is done again: a row that is in its block already stays as it is.
/// </summary>
internal sealed class SeriesFold(Database database, SeriesMemory memory)
{
    /// <summary>So much of one transaction, that those who wait for the writer wait for milliseconds.</summary>
    private const int RowsAtOnce = 4096;
    private const int StreamsAtOnce = 32;
    private const int UnitsAtOnce = 500;

    /// <summary>Rows that wait to be folded.</summary>
    public int Waiting => memory.TailRows;

    /// <summary>The journal holds something.</summary>
    public bool IsWanted => memory.Position > memory.FoldedTo;

    /// <returns>The sites of which rows wait.</returns>
    public IReadOnlyList<SiteId> WaitingSites() => memory.SitesInTail();

    /// <summary>Folds the journal up to a position. Every site's mark must have come so far, or a restart would not judge what is folded.</summary>
    /// <exception cref="SqliteException">The store does not take it; what was folded so far does no harm.</exception>
    public void Run(long position, CancellationToken stop)
    {
        var waiting = memory.TailByStream(position);
        var slice = new List<(int Stream, List<SeriesRow> Rows)>();
        foreach (var (stream, tail) in waiting)
        {
            stop.ThrowIfCancellationRequested();
            var rows = tail.ConvertAll(row => row.Read());
            rows.Sort();
            slice.Add((stream, rows));
            if (slice.Count == StreamsAtOnce || slice.Sum(part => part.Rows.Count) >= RowsAtOnce)
            {
                Write(slice);
                slice.Clear();
            }
        }

        Write(slice);
        foreach (var units in memory.ChangedCounts().Chunk(UnitsAtOnce))
        {
            stop.ThrowIfCancellationRequested();
            database.Write(connection => memory.SaveCounts(connection, units));
            memory.CountsSaved(units);
        }

        database.Write(connection => connection.Execute("DELETE FROM journal WHERE id <= ?1", position));
        memory.Folded(position);
    }

    /// <summary>Deletes rows older than a day, whole days at a time, stream by stream.</summary>
    public void Sweep(DateTimeOffset before, CancellationToken stop)
    {
        var day = SeriesBlocks.DayOf(before.UtcTicks);
        database.Write(connection => connection.Execute(
            "INSERT INTO meta (name, value) VALUES ('raw-from', ?1) ON CONFLICT (name) DO UPDATE SET value = ?1",
            day.ToString(System.Globalization.CultureInfo.InvariantCulture)));
        foreach (var streams in memory.AllStreams().Chunk(StreamsAtOnce))
        {
            stop.ThrowIfCancellationRequested();
            database.Write(connection => Array.ForEach(streams, stream => SeriesBlocks.DeleteBefore(connection, stream, day)));
        }
    }

    private void Write(List<(int Stream, List<SeriesRow> Rows)> slice)
    {
        if (slice.Count == 0)
        {
            return;
        }

        database.Write(connection =>
        {
            foreach (var (stream, rows) in slice)
            {
                // The site may have been deleted since.
                if (connection.Scalar("SELECT 1 FROM streams WHERE id = ?1", stream) is not null)
                {
                    SeriesBlocks.Merge(connection, stream, rows);
                }
            }
        });
    }
}
