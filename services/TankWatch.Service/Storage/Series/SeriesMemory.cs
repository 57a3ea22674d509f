using Microsoft.Data.Sqlite;
using TankWatch.Core;

namespace TankWatch.Service.Storage.Series;

/// <summary>A row of the journal that is not folded yet, at its place in its batch.</summary>
internal readonly record struct TailRow(JournalBatch Batch, int Offset, int Stream, long At)
{
    public SeriesRow Read()
    {
        var from = new PackedReader(Batch.Packed, Offset);
        return RowCodec.Read(ref from, Batch.Base);
    }
}

/// <summary>
/// What the series has in memory: the numbers of its streams, which messages each unit's counts say were taken, and the tail of the
/// journal that is not folded yet. One writer; readers on any thread.
/// </summary>
internal sealed class SeriesMemory
{
    private readonly Lock guard = new();
    private readonly Dictionary<Stream, int> numbers = [];
    private readonly Dictionary<int, Stream> streams = [];
    private readonly Dictionary<SiteId, List<int>> ofSite = [];
    private readonly Dictionary<int, long> newest = [];
    private readonly Dictionary<UnitId, UnitCounts> counts = [];
    private readonly Dictionary<SiteId, List<TailRow>> tail = [];
    private int lastNumber;

    /// <summary>Position of the newest batch; 0 before the first.</summary>
    public long Position { get; private set; }

    /// <summary>Batches up to this one are folded and gone.</summary>
    public long FoldedTo { get; private set; }

    /// <summary>Rows that are not folded yet.</summary>
    public int TailRows { get; private set; }

    /// <summary>Reads what the store has; whatever was in memory is forgotten.</summary>
    public void Load(SqliteConnection connection)
    {
        lock (guard)
        {
            numbers.Clear();
            newest.Clear();
            counts.Clear();
            tail.Clear();
            TailRows = 0;
            LoadStreams(connection);
            foreach (var (unit, stored) in connection.List("SELECT unit, counts FROM unit_counts", row => (new UnitId(row.GetString(0)), row.GetFieldValue<byte[]>(1))))
            {
                counts[unit] = UnitCounts.Read(unit, stored);
            }

            Position = connection.Scalar("SELECT seq FROM sqlite_sequence WHERE name = 'journal'") as long? ?? 0;
            FoldedTo = connection.Scalar("SELECT min(id) - 1 FROM journal") as long? ?? Position;
            foreach (var (id, data) in connection.List("SELECT id, batch FROM journal ORDER BY id", row => (row.GetInt64(0), row.GetFieldValue<byte[]>(1))))
            {
                Recall(connection, JournalBatch.Open(id, data));
            }
        }
    }

    /// <summary>Sites may have come or gone in the store, and their streams with them.</summary>
    public void LoadStreams(SqliteConnection connection)
    {
        lock (guard)
        {
            numbers.Clear();
            streams.Clear();
            ofSite.Clear();
            foreach (var (number, stream) in JournalBatch.ReadStreams(connection))
            {
                Know(number, stream);
            }

            lastNumber = (int)(connection.Scalar("SELECT seq FROM sqlite_sequence WHERE name = 'streams'") as long? ?? 0);
            var heard = streams.Values.Select(stream => stream.Unit).ToHashSet();
            counts.Keys.Where(unit => !heard.Contains(unit)).ToList().ForEach(unit => counts.Remove(unit));
            foreach (var gone in tail.Keys.Where(site => !ofSite.ContainsKey(site)).ToList())
            {
                TailRows -= tail[gone].Count;
                tail.Remove(gone);
            }
        }
    }

    /// <summary>Sorts out what is new and packs it; nothing of it can be read before <see cref="Committed"/>.</summary>
    public StagedBatch Stage(IReadOnlyList<JournalEntry> entries, Func<UnitId, long, SequenceSet?> readOld, Func<int, SeriesRow, bool> isStored)
    {
        lock (guard)
        {
            var staged = new StagedBatch(entries);
            for (var i = 0; i < entries.Count; i++)
            {
                var (stream, content) = (StreamOf(entries[i], staged), staged.ContentOf(entries[i]));
                var row = StagedBatch.RowOf(entries[i], content);
                if (IsNew(entries[i].Unit, stream, row, staged, readOld, isStored))
                {
                    staged.Add(i, stream, row);
                    newest[stream] = newest.TryGetValue(stream, out var at) && at > row.At ? at : row.At;
                }
            }

            return staged;
        }
    }

    /// <summary>The batch is on disk: its rows can be read.</summary>
    public void Committed(StagedBatch staged, JournalBatch batch)
    {
        lock (guard)
        {
            Position = batch.Id;
            foreach (var (stream, offset, at) in staged.Rows)
            {
                Append(new(batch, offset, stream, at));
            }
        }
    }

    /// <summary>Sequence numbers that a unit skipped within its restarts: sent, and never taken.</summary>
    public long MissingOf(UnitId unit)
    {
        lock (guard)
        {
            return counts.GetValueOrDefault(unit)?.Missing() ?? 0;
        }
    }

    /// <summary>The highest restart that a unit ever counted; null for none.</summary>
    public long? HighestBootOf(UnitId unit)
    {
        lock (guard)
        {
            return counts.GetValueOrDefault(unit)?.HighestBoot;
        }
    }

    /// <summary>All messages of a unit's restart between two of them have been taken.</summary>
    public bool IsWholeBetween(UnitId unit, long boot, long after, long before)
    {
        lock (guard)
        {
            return counts.GetValueOrDefault(unit)?.IsWholeBetween(boot, after, before) ?? true;
        }
    }

    /// <summary>The streams of a site, with their numbers.</summary>
    public IReadOnlyList<(int Number, Stream Stream)> StreamsOf(SiteId site)
    {
        lock (guard)
        {
            return ofSite.TryGetValue(site, out var known) ? [.. known.Select(number => (number, streams[number]))] : [];
        }
    }

    public IReadOnlyList<(int Number, SiteId Site)> AllStreams()
    {
        lock (guard)
        {
            return [.. streams.Select(known => (known.Key, known.Value.Site))];
        }
    }

    /// <returns>The rows of a site's tail at or after <paramref name="from"/> and before <paramref name="to"/>, ticks, in order of receipt.</returns>
    public List<TailRow> ReadTail(SiteId site, long from, long to, long afterPosition = 0)
    {
        lock (guard)
        {
            return tail.TryGetValue(site, out var rows) ? rows.FindAll(row => row.At >= from && row.At < to && row.Batch.Id > afterPosition) : [];
        }
    }

    /// <returns>The rows of a site's tail up to a position, in order of receipt.</returns>
    public List<TailRow> ReadTailTo(SiteId site, long position)
    {
        lock (guard)
        {
            return tail.TryGetValue(site, out var rows) ? rows[..FirstAfter(rows, position)] : [];
        }
    }

    /// <returns>The sites that have rows in the tail.</returns>
    public IReadOnlyList<SiteId> SitesInTail()
    {
        lock (guard)
        {
            return [.. tail.Keys];
        }
    }


    /// <summary>What was folded leaves the tail.</summary>
    public void Folded(long position)
    {
        lock (guard)
        {
            FoldedTo = position;
            foreach (var (site, rows) in tail.ToList())
            {
                var folded = FirstAfter(rows, position);
                rows.RemoveRange(0, folded);
                TailRows -= folded;
                if (rows.Count == 0)
                {
                    tail.Remove(site);
                }
            }
        }
    }

    /// <returns>Units of which something was counted since they were last saved.</returns>
    public List<UnitId> ChangedCounts()
    {
        lock (guard)
        {
            return [.. counts.Where(unit => unit.Value.IsChanged).Select(unit => unit.Key)];
        }
    }

    /// <summary>Stores what is counted of units; call it within <see cref="Database.Write{T}"/>, and <see cref="CountsSaved"/> once that is on disk.</summary>
    public void SaveCounts(SqliteConnection connection, IEnumerable<UnitId> units)
    {
        lock (guard)
        {
            foreach (var unit in units)
            {
                counts.GetValueOrDefault(unit)?.Save(connection);
            }
        }
    }

    /// <summary>They are on disk.</summary>
    public void CountsSaved(IEnumerable<UnitId> units)
    {
        lock (guard)
        {
            foreach (var unit in units)
            {
                counts.GetValueOrDefault(unit)?.Saved();
            }
        }
    }

    /// <returns>Index of the first row after a position; rows are in order of receipt.</returns>
    private static int FirstAfter(List<TailRow> rows, long position)
    {
        var (from, to) = (0, rows.Count);
        while (from < to)
        {
            var middle = (from + to) / 2;
            (from, to) = rows[middle].Batch.Id > position ? (from, middle) : (middle + 1, to);
        }

        return from;
    }

    private UnitCounts CountsOf(UnitId unit) => counts.TryGetValue(unit, out var known) ? known : counts[unit] = new(unit);

    private bool IsNew(
        UnitId unit, int stream, in SeriesRow row, StagedBatch staged, Func<UnitId, long, SequenceSet?> readOld, Func<int, SeriesRow, bool> isStored)
    {
        if (row is { Boot: { } boot, Seq: { } seq })
        {
            return CountsOf(unit).Add(boot, seq, readOld);
        }

        if (newest.TryGetValue(stream, out var newestAt) && row.At > newestAt)
        {
            return true;
        }

        return !staged.Has(stream, row) && !HasInTail(streams[stream].Site, stream, row) && !isStored(stream, row);
    }

    private bool HasInTail(SiteId site, int stream, SeriesRow row) =>
        tail.TryGetValue(site, out var rows) && rows.Exists(known => known.Stream == stream && known.At == row.At && known.Read().IsSameAs(row));

    private int StreamOf(JournalEntry entry, StagedBatch staged)
    {
        var stream = entry.Stream;
        if (!numbers.TryGetValue(stream, out var number))
        {
            number = ++lastNumber;
            Know(number, stream);
            staged.NewStreams.Add((number, stream));
        }

        return number;
    }

    private void Know(int number, Stream stream)
    {
        numbers[stream] = number;
        streams[number] = stream;
        (ofSite.TryGetValue(stream.Site, out var known) ? known : ofSite[stream.Site] = []).Add(number);
    }

    /// <summary>Takes a batch of the journal into memory again, after a restart.</summary>
    private void Recall(SqliteConnection connection, JournalBatch batch)
    {
        foreach (var row in batch.Rows())
        {
            // The streams of a site that was deleted are gone, and its rows with them.
            if (!streams.TryGetValue(row.Stream, out var stream))
            {
                continue;
            }

            var read = row.Read();
            if (read is { Boot: { } boot, Seq: { } seq })
            {
                CountsOf(stream.Unit).Add(boot, seq, (unit, old) => UnitCounts.ReadOld(connection, unit, old));
            }

            Append(row);
        }
    }

    private void Append(TailRow row)
    {
        if (streams.TryGetValue(row.Stream, out var stream))
        {
            (tail.TryGetValue(stream.Site, out var rows) ? rows : tail[stream.Site] = []).Add(row);
            TailRows++;
        }
    }
}
