using Microsoft.Data.Sqlite;
using TankWatch.Core;

namespace TankWatch.Service.Storage.Series;

/// <summary>
/// Puts the journal into per-device order in short transactions, so that what comes in meanwhile does not wait: first the rows, beside the
/// keeper; then what is counted of units, and the end of the journal's folded part, by the keeper. A fold that is cut short is done again:
/// a row that is in its block already stays as it is.
/// </summary>
internal sealed class SeriesFold(Database database, SeriesMemory memory)
{
    // So much of one transaction, that those who wait for the writer wait for a few milliseconds.
    private const int RowsAtOnce = 1024;
    private const int StreamsAtOnce = 8;
    private const int UnitsAtOnce = 50;
    private const int BatchesAtOnce = 200;

    private readonly BlockMerger merger = new();
    private readonly List<SeriesRow> rows = [];
    private readonly Queue<UnitId> toCount = new();
    private long deletedTo;

    /// <summary>Rows that wait to be folded.</summary>
    public int Waiting => memory.TailRows;

    /// <summary>The journal holds something.</summary>
    public bool IsWanted => memory.Position > memory.FoldedTo;

    /// <returns>The sites of which rows wait.</returns>
    public IReadOnlyList<SiteId> WaitingSites() => memory.SitesInTail();

    /// <summary>Puts the journal's rows up to a position into their blocks, one transaction at a step. Any thread may do it.</summary>
    /// <exception cref="SqliteException">The store does not take it; what was folded so far does no harm.</exception>
    public IEnumerable<int> Rows(long position)
    {
        var slice = new List<IGrouping<int, TailRow>>();
        foreach (var tail in memory.SitesInTail().SelectMany(site => memory.ReadTailTo(site, position).GroupBy(row => row.Stream)))
        {
            slice.Add(tail);
            var count = slice.Sum(rows => rows.Count());
            if (slice.Count == StreamsAtOnce || count >= RowsAtOnce)
            {
                Write(slice);
                slice.Clear();
                yield return count;
            }
        }

        Write(slice);
    }

    /// <summary>
    /// Saves what is counted of some units, and when that is done of all of them, ends the folded part of the journal. Only the keeper may
    /// do it, and not between staging a batch and committing it: what is counted must be durable, or a message that comes again would be
    /// taken for one that is there.
    /// </summary>
    /// <param name="position">As in <see cref="Rows"/>, and every site's mark must have come so far: a restart does not judge what is folded.</param>
    /// <param name="isFirst">The first call after <see cref="Rows"/>.</param>
    /// <returns>Whether it is done.</returns>
    /// <exception cref="SqliteException">The store does not take it; all may be done again.</exception>
    public bool Counts(long position, bool isFirst)
    {
        if (isFirst)
        {
            toCount.Clear();
            deletedTo = 0;
            memory.ChangedCounts().ForEach(toCount.Enqueue);
        }

        var units = toCount.Take(UnitsAtOnce).ToList();
        database.Write(connection => memory.SaveCounts(connection, units));
        memory.CountsSaved(units);
        units.ForEach(_ => toCount.Dequeue());
        return toCount.Count == 0 && End(position);
    }

    private bool End(long position)
    {
        deletedTo = Math.Min(position, Math.Max(deletedTo, memory.FoldedTo) + BatchesAtOnce);
        database.Write(connection => connection.Execute("DELETE FROM journal WHERE id <= ?1", deletedTo));
        if (deletedTo < position)
        {
            return false;
        }

        memory.Folded(position);
        return true;
    }

    /// <summary>Deletes rows older than a day, whole days at a time, and remembers of each site how far its rows still reach.</summary>
    public void Sweep(DateTimeOffset before, CancellationToken stop)
    {
        var day = SeriesBlocks.DayOf(before.UtcTicks);
        foreach (var streams in memory.AllStreams().Chunk(StreamsAtOnce))
        {
            stop.ThrowIfCancellationRequested();
            database.Write(connection =>
            {
                foreach (var (stream, site) in streams)
                {
                    if (SeriesBlocks.DeleteBefore(connection, stream, day) > 0)
                    {
                        SeriesStore.SetRawFrom(connection, site, day);
                    }
                }
            });
        }
    }

    private void Write(List<IGrouping<int, TailRow>> slice)
    {
        if (slice.Count == 0)
        {
            return;
        }

        database.Write(connection =>
        {
            foreach (var tail in slice)
            {
                rows.Clear();
                rows.AddRange(tail.Select(row => row.Read()));
                rows.Sort();

                // The site may have been deleted since.
                if (connection.Scalar("SELECT 1 FROM streams WHERE id = ?1", tail.Key) is not null)
                {
                    merger.Merge(connection, tail.Key, rows);
                }
            }
        });
    }
}
