using Microsoft.Data.Sqlite;

namespace TankWatch.Service.Storage.Series;

/// <summary>Puts rows into their blocks. Its buffers are used again and again: a day's rows are large enough to burden the collector of garbage.</summary>
internal sealed class BlockMerger
{
    private readonly List<SeriesRow> stored = new(SeriesBlocks.MostRows);
    private readonly List<SeriesRow> merged = new(2 * SeriesBlocks.MostRows);
    private readonly PackedWriter packed = new(16 * SeriesBlocks.MostRows);

    /// <summary>Puts rows in their places; a row that is there already is left as it is. Call it within <see cref="Database.Write{T}"/>.</summary>
    /// <param name="connection">In a transaction.</param>
    /// <param name="stream">Of all of them.</param>
    /// <param name="rows">In order.</param>
    /// <exception cref="StoreException">A block is damaged.</exception>
    public void Merge(SqliteConnection connection, int stream, IReadOnlyList<SeriesRow> rows)
    {
        var keys = connection.List(
            "SELECT id FROM blocks WHERE id BETWEEN ?1 AND ?2 ORDER BY id", row => row.GetInt64(0),
            SeriesBlocks.Key(stream, SeriesBlocks.DayOf(rows[0].At)), SeriesBlocks.Key(stream, rows[^1].At));
        for (var i = 0; i < rows.Count;)
        {
            var key = Covering(keys, stream, rows[i].At);
            var end = i + 1;
            while (end < rows.Count && Covering(keys, stream, rows[end].At) == key)
            {
                end++;
            }

            stored.Clear();
            if (connection.Scalar("SELECT data FROM blocks WHERE id = ?1", key) is byte[] data)
            {
                SeriesBlocks.Unpack(key, data, stored);
            }

            Merge(rows, i, end);
            Write(connection, key);
            i = end;
        }
    }

    private static long Covering(List<long> keys, int stream, long at)
    {
        var (day, own) = (SeriesBlocks.Key(stream, SeriesBlocks.DayOf(at)), SeriesBlocks.Key(stream, at));
        var found = keys.BinarySearch(own);
        var last = found >= 0 ? found : ~found - 1;
        return last >= 0 && keys[last] >= day ? keys[last] : day;
    }

    private void Merge(IReadOnlyList<SeriesRow> fresh, int from, int end)
    {
        merged.Clear();
        var next = 0;
        for (; from < end; from++)
        {
            while (next < stored.Count && stored[next].CompareTo(fresh[from]) <= 0)
            {
                merged.Add(stored[next++]);
            }

            if (merged.Count == 0 || !merged[^1].IsSameAs(fresh[from]))
            {
                merged.Add(fresh[from]);
            }
        }

        for (; next < stored.Count; next++)
        {
            merged.Add(stored[next]);
        }
    }

    /// <summary>Too many rows become several blocks, divided where the millisecond changes, for that is what keys can tell apart.</summary>
    private void Write(SqliteConnection connection, long key)
    {
        for (var start = 0; start < merged.Count;)
        {
            var end = Math.Min(start + SeriesBlocks.MostRows, merged.Count);
            while (end < merged.Count && SeriesBlocks.Key(0, merged[end].At) == SeriesBlocks.Key(0, merged[end - 1].At))
            {
                end++;
            }

            packed.Clear();
            packed.Byte(SeriesBlocks.Format);
            packed.Number((ulong)(end - start));
            var before = new RowCodec.Before(SeriesBlocks.StartOf(key), 0, 0);
            for (var i = start; i < end; i++)
            {
                RowCodec.Write(packed, merged[i], before);
                before = RowCodec.Before.Of(merged[i], before);
            }

            connection.Execute("INSERT OR REPLACE INTO blocks (id, rows, data) VALUES (?1, ?2, ?3)", key, end - start, packed.Sealed());
            start = end;
            key = start < merged.Count ? SeriesBlocks.Key(SeriesBlocks.StreamOf(key), merged[start].At) : key;
        }
    }
}
