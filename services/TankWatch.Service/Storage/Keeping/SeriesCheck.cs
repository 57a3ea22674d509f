using System.IO.Hashing;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Service.Storage.Series;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>The rows of one unit that are in the journal.</summary>
internal sealed class UnitJournal
{
    /// <summary>Those that the unit counted.</summary>
    public HashSet<(long Boot, long Seq)> Counted { get; } = [];

    /// <summary>The others.</summary>
    public HashSet<(int Stream, long At, ulong Content)> Uncounted { get; } = [];

    public static (int Stream, long At, ulong Content) KeyOf(int stream, in SeriesRow row) => (stream, row.At, XxHash64.HashToUInt64(row.Content.Span));
}

/// <summary>The journal, by unit.</summary>
/// <param name="Units">Those of which there are rows.</param>
/// <param name="IsWhole">All of it could be read.</param>
internal sealed record JournalRead(Dictionary<UnitId, UnitJournal> Units, bool IsWhole);

/// <summary>
/// Checks what units said: every batch and every block by its checksum, its order and its place, and the units' counts against the rows.
/// Whoever calls runs it within one transaction, so that what it compares is of one moment.
/// </summary>
/// <param name="connection">In a transaction, or to a file that nobody changes.</param>
/// <param name="fault">Is told each fault in one line.</param>
internal sealed class SeriesCheck(SqliteConnection connection, Action<string> fault)
{
    private readonly Dictionary<int, Series.Stream> streams = JournalBatch.ReadStreams(connection).ToDictionary(known => known.Number, known => known.Stream);
    private readonly bool isSwept = SeriesStore.IsSwept(connection);
    private ILookup<UnitId, int>? ofUnit;

    /// <returns>The units of which there are rows.</returns>
    public IReadOnlyList<UnitId> Units() => [.. streams.Values.Select(stream => stream.Unit).Distinct().OrderBy(unit => unit.Value, StringComparer.Ordinal)];

    /// <summary>Reads the journal; rows of a site that was deleted since go with the next fold and are none of anybody's business.</summary>
    public JournalRead ReadJournal()
    {
        var (whole, units) = (true, new Dictionary<UnitId, UnitJournal>());
        using var command = connection.Command("SELECT id, batch FROM journal ORDER BY id");
        using var reader = command.ExecuteReader();
        while (reader.Read())
        {
            try
            {
                foreach (var row in JournalBatch.Open(reader.GetInt64(0), reader.GetFieldValue<byte[]>(1)).Rows().Where(row => streams.ContainsKey(row.Stream)))
                {
                    var unit = streams[row.Stream].Unit;
                    var known = units.TryGetValue(unit, out var of) ? of : units[unit] = new();
                    var read = row.Read();
                    _ = read is { Boot: { } boot, Seq: { } seq } ? known.Counted.Add((boot, seq)) : known.Uncounted.Add(UnitJournal.KeyOf(row.Stream, read));
                }
            }
            catch (StoreException damage)
            {
                fault(damage.Message);
                whole = false;
            }
        }

        return new(units, whole);
    }

    /// <summary>Finds blocks of which nobody knows the stream.</summary>
    public void CheckOwners()
    {
        for (var from = 0L; connection.Scalar("SELECT min(id) FROM blocks WHERE id >= ?1", from) is long key;)
        {
            var stream = SeriesBlocks.StreamOf(key);
            from = SeriesBlocks.Key(stream + 1, 0);
            if (!streams.ContainsKey(stream))
            {
                fault($"{connection.Scalar("SELECT count(*) FROM blocks WHERE id BETWEEN ?1 AND ?2", key, from - 1)} blocks are of stream {stream}, which is not known");
            }
        }
    }

    /// <summary>Checks all blocks of a unit and its counts.</summary>
    /// <returns>How many messages of it there are.</returns>
    public long CheckUnit(UnitId unit, JournalRead journal)
    {
        ofUnit ??= streams.ToLookup(known => known.Value.Unit, known => known.Key);
        var counts = new CountCheck(unit, journal.Units.GetValueOrDefault(unit) ?? new(), isSwept, fault);
        var isWhole = counts.Read(connection) && journal.IsWhole;
        foreach (var stream in ofUnit[unit])
        {
            isWhole &= CheckStream(stream, counts);
        }

        if (isWhole)
        {
            counts.Compare();
        }

        return counts.Messages;
    }

    private bool CheckStream(int stream, CountCheck counts)
    {
        var (isWhole, last, lastKey) = (true, (SeriesRow?)null, 0L);
        using var command = connection.Command(
            "SELECT id, rows, data FROM blocks WHERE id BETWEEN ?1 AND ?2 ORDER BY id", SeriesBlocks.Key(stream, 0), SeriesBlocks.Key(stream, DateTime.MaxValue.Ticks));
        using var reader = command.ExecuteReader();
        while (reader.Read())
        {
            var key = reader.GetInt64(0);
            try
            {
                var block = SeriesBlocks.Unpack(key, reader.GetFieldValue<byte[]>(2));
                CheckBlock(key, block, reader.GetInt64(1), last, lastKey);
                block.ForEach(row => counts.Add(stream, row));
                (last, lastKey) = (block.Count > 0 ? block[^1] : last, key);
            }
            catch (StoreException damage)
            {
                fault($"{NameOf(key)}: {damage.Message}");
                (isWhole, last) = (false, null);
            }
        }

        return isWhole;
    }

    private void CheckBlock(long key, List<SeriesRow> block, long rows, SeriesRow? before, long keyBefore)
    {
        if (block.Count != rows)
        {
            fault($"{NameOf(key)} holds {block.Count} messages and says {rows}");
        }

        if (before is { } last && last.At >= SeriesBlocks.StartOf(key))
        {
            fault($"{NameOf(keyBefore)} reaches into the time of the next one");
        }

        var (start, end) = (SeriesBlocks.StartOf(key), SeriesBlocks.DayOf(SeriesBlocks.StartOf(key)) + TimeSpan.TicksPerDay);
        if (block.Exists(row => row.At < start || row.At >= end))
        {
            fault($"{NameOf(key)} holds messages that are not of its part of the day");
        }

        for (var i = 1; i < block.Count; i++)
        {
            if (block[i].CompareTo(block[i - 1]) <= 0)
            {
                fault($"{NameOf(key)} is not in order");
                return;
            }
        }
    }

    private string NameOf(long key)
    {
        var (stream, from) = (streams[SeriesBlocks.StreamOf(key)], Core.Time.Rfc3339.Format(new DateTimeOffset(SeriesBlocks.StartOf(key), TimeSpan.Zero)));
        return $"the block of unit {stream.Unit}, {stream.Kind.ToString().ToLowerInvariant()}{(stream.Device.Length > 0 ? $" of {stream.Device}" : "")} from {from}";
    }
}
