using Microsoft.Data.Sqlite;

namespace TankWatch.Service.Storage.Series;

/// <summary>
/// Folded rows: for each stream, blocks of rows in order. A block covers a part of one day (UTC) and holds at most about
/// <see cref="MostRows"/>, so that late rows cost one small block and a month of one device lies side by side on disk.
/// </summary>
internal static class SeriesBlocks
{
    public const int MostRows = 2048;

    private const byte Format = 1;
    private const int TimeBits = 42;
    private const long MostTime = (1L << TimeBits) - 1;
    private const int MostStream = (1 << (63 - TimeBits)) - 1;

    /// <summary>A block's key: its stream, then the millisecond since 1970 from which on it covers its day.</summary>
    /// <exception cref="StoreException">More streams than the store can number.</exception>
    public static long Key(int stream, long at) => stream is >= 0 and <= MostStream
        ? ((long)stream << TimeBits) | Math.Clamp((at - DateTime.UnixEpoch.Ticks) / TimeSpan.TicksPerMillisecond, 0, MostTime)
        : throw new StoreException($"the store numbers at most {MostStream} streams");

    public static int StreamOf(long key) => (int)(key >> TimeBits);

    /// <summary>From when on a block covers its day, ticks.</summary>
    public static long StartOf(long key) => DateTime.UnixEpoch.Ticks + ((key & MostTime) * TimeSpan.TicksPerMillisecond);

    /// <summary>Midnight before a time, UTC, ticks.</summary>
    public static long DayOf(long at) => at - (at % TimeSpan.TicksPerDay);

    /// <summary>Adds the rows of a stream at or after <paramref name="from"/> and before <paramref name="to"/>, ticks, in order.</summary>
    public static void Read(SqliteConnection connection, int stream, long from, long to, List<SeriesRow> into)
    {
        if (from >= to)
        {
            return;
        }

        foreach (var (key, data) in connection.List(
            "SELECT id, data FROM blocks WHERE id BETWEEN ?1 AND ?2 ORDER BY id", row => (row.GetInt64(0), row.GetFieldValue<byte[]>(1)),
            Key(stream, DayOf(from)), Key(stream, to - 1)))
        {
            foreach (var row in Unpack(key, data))
            {
                if (row.At >= from && row.At < to)
                {
                    into.Add(row);
                }
            }
        }
    }

    /// <summary>Deletes a stream's blocks; call it within <see cref="Database.Write{T}"/>.</summary>
    public static void Delete(SqliteConnection connection, int stream) =>
        connection.Execute("DELETE FROM blocks WHERE id BETWEEN ?1 AND ?2", Key(stream, 0), Key(stream, DateTime.MaxValue.Ticks));

    /// <summary>Deletes a stream's blocks of days before one; call it within <see cref="Database.Write{T}"/>.</summary>
    /// <returns>How many.</returns>
    public static int DeleteBefore(SqliteConnection connection, int stream, long day) =>
        connection.Execute("DELETE FROM blocks WHERE id >= ?1 AND id < ?2", Key(stream, 0), Key(stream, day));

    public static bool Has(SqliteConnection connection, int stream, SeriesRow row)
    {
        var rows = new List<SeriesRow>();
        Read(connection, stream, row.At, row.At + 1, rows);
        return rows.Exists(known => known.IsSameAs(row));
    }

    /// <returns>The day, UTC, ticks, of the first block of a stream at or after a time's day; null for none.</returns>
    public static long? NextDay(SqliteConnection connection, int stream, long from) =>
        connection.Scalar("SELECT id FROM blocks WHERE id BETWEEN ?1 AND ?2 ORDER BY id LIMIT 1", Key(stream, DayOf(from)), Key(stream, DateTime.MaxValue.Ticks)) is long key
            ? DayOf(StartOf(key)) : null;

    /// <summary>Puts rows in their places; a row that is there already is left as it is. Call it within <see cref="Database.Write{T}"/>.</summary>
    /// <param name="connection">In a transaction.</param>
    /// <param name="stream">Of all of them.</param>
    /// <param name="rows">In order.</param>
    public static void Merge(SqliteConnection connection, int stream, IReadOnlyList<SeriesRow> rows)
    {
        var keys = connection.List(
            "SELECT id FROM blocks WHERE id BETWEEN ?1 AND ?2 ORDER BY id", row => row.GetInt64(0),
            Key(stream, DayOf(rows[0].At)), Key(stream, rows[^1].At));
        for (var i = 0; i < rows.Count;)
        {
            var key = Covering(keys, stream, rows[i].At);
            var end = i + 1;
            while (end < rows.Count && Covering(keys, stream, rows[end].At) == key)
            {
                end++;
            }

            var stored = connection.Scalar("SELECT data FROM blocks WHERE id = ?1", key) is byte[] data ? Unpack(key, data) : [];
            Write(connection, key, Merged(stored, rows, i, end));
            i = end;
        }
    }

    /// <exception cref="StoreException">The block is damaged.</exception>
    public static List<SeriesRow> Unpack(long key, byte[] data)
    {
        var from = new PackedReader(Seal.Open(data, $"a block of stream {StreamOf(key)}"));
        if (from.Byte() != Format)
        {
            throw new StoreException("a block was made by a newer version of the program");
        }

        var count = from.Count();
        var rows = new List<SeriesRow>(Math.Min(count, data.Length));
        var before = new RowCodec.Before(StartOf(key), 0, 0);
        for (; count > 0; count--)
        {
            var row = RowCodec.Read(ref from, before);
            before = RowCodec.Before.Of(row, before);
            rows.Add(row);
        }

        return rows;
    }

    private static long Covering(List<long> keys, int stream, long at)
    {
        var (day, own) = (Key(stream, DayOf(at)), Key(stream, at));
        var found = keys.BinarySearch(own);
        var last = found >= 0 ? found : ~found - 1;
        return last >= 0 && keys[last] >= day ? keys[last] : day;
    }

    private static List<SeriesRow> Merged(List<SeriesRow> stored, IReadOnlyList<SeriesRow> fresh, int from, int end)
    {
        var merged = new List<SeriesRow>(stored.Count + end - from);
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

        merged.AddRange(stored[next..]);
        return merged;
    }

    /// <summary>Too many rows become several blocks, divided where the millisecond changes, for that is what keys can tell apart.</summary>
    private static void Write(SqliteConnection connection, long key, List<SeriesRow> rows)
    {
        var packed = new PackedWriter(16 * Math.Min(rows.Count, MostRows));
        for (var start = 0; start < rows.Count;)
        {
            var end = Math.Min(start + MostRows, rows.Count);
            while (end < rows.Count && Key(0, rows[end].At) == Key(0, rows[end - 1].At))
            {
                end++;
            }

            packed.Clear();
            packed.Byte(Format);
            packed.Number((ulong)(end - start));
            var before = new RowCodec.Before(StartOf(key), 0, 0);
            for (var i = start; i < end; i++)
            {
                RowCodec.Write(packed, rows[i], before);
                before = RowCodec.Before.Of(rows[i], before);
            }

            connection.Execute("INSERT OR REPLACE INTO blocks (id, rows, data) VALUES (?1, ?2, ?3)", key, end - start, packed.Sealed());
            start = end;
            key = start < rows.Count ? Key(StreamOf(key), rows[start].At) : key;
        }
    }
}
