using Microsoft.Data.Sqlite;

namespace TankWatch.Service.Storage.Series;

/// <summary>
/// Folded rows: for each stream, blocks of rows in order. A block covers a part of one day (UTC) and holds at most about
/// <see cref="MostRows"/>, so that late rows cost one small block and a month of one device lies side by side on disk.
/// </summary>
internal static class SeriesBlocks
{
    public const int MostRows = 2048;
    public const byte Format = 1;

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

    /// <exception cref="StoreException">The block is damaged.</exception>
    public static List<SeriesRow> Unpack(long key, byte[] data)
    {
        var rows = new List<SeriesRow>();
        Unpack(key, data, rows);
        return rows;
    }

    /// <summary>Adds a block's rows, in order.</summary>
    /// <exception cref="StoreException">The block is damaged.</exception>
    public static void Unpack(long key, byte[] data, List<SeriesRow> into)
    {
        var from = new PackedReader(Seal.Open(data, $"a block of stream {StreamOf(key)}"));
        if (from.Byte() != Format)
        {
            throw new StoreException("a block was made by a newer version of the program");
        }

        var count = from.Count();
        into.EnsureCapacity(into.Count + Math.Min(count, data.Length));
        var before = new RowCodec.Before(StartOf(key), 0, 0);
        for (; count > 0; count--)
        {
            var row = RowCodec.Read(ref from, before);
            before = RowCodec.Before.Of(row, before);
            into.Add(row);
        }
    }
}
