using Microsoft.Data.Sqlite;
using TankWatch.Core;

namespace TankWatch.Service.Storage.Series;

/// <summary>
/// Which messages of one unit have been taken, by its own counts. The newest restarts are in memory; those before them are read when
/// somebody speaks of them again.
/// </summary>
internal sealed class UnitCounts(UnitId unit)
{
    /// <summary>A unit that makes restarts up gets no more memory than this, from one fold to the next.</summary>
    private const int BootsKept = 64;

    private readonly SortedList<long, SequenceSet> boots = [];

    /// <summary>In the restarts that are in the store alone.</summary>
    private long missingBefore;

    /// <summary>Restarts below this are in the store alone.</summary>
    private long oldest;

    private long changes;
    private long saving;
    private long saved;

    public bool IsChanged => changes != saved;

    /// <summary>What was taken of the newest restarts.</summary>
    public IEnumerable<KeyValuePair<long, SequenceSet>> Restarts => boots;

    public long? HighestBoot => boots.Count > 0 ? boots.Keys[^1] : null;

    /// <summary>Sequence numbers skipped within the restarts: sent, and never taken.</summary>
    public long Missing()
    {
        var missing = missingBefore;
        foreach (var set in boots.Values)
        {
            missing += set.Missing;
        }

        return missing;
    }

    /// <summary>All messages of a restart between two are there.</summary>
    public bool IsWholeBetween(long boot, long after, long before) => boots.TryGetValue(boot, out var set) && set.IsWholeBetween(after, before);

    /// <param name="boot">Of the message.</param>
    /// <param name="seq">Of the message.</param>
    /// <param name="readOld">Reads what is stored of a restart long ago; null for nothing.</param>
    /// <returns>False when this message was taken before.</returns>
    public bool Add(long boot, long seq, Func<UnitId, long, SequenceSet?> readOld)
    {
        if (!boots.TryGetValue(boot, out var set))
        {
            set = (boot < oldest ? readOld(unit, boot) : null) ?? new();
            missingBefore -= set.Missing;
            boots.Add(boot, set);
        }

        var isNew = set.Add(seq);
        changes += isNew ? 1 : 0;
        return isNew;
    }

    /// <summary>Stores what changed; call it within <see cref="Database.Write{T}"/>, and <see cref="Saved"/> once that is on disk.</summary>
    public void Save(SqliteConnection connection)
    {
        saving = changes;
        var (packed, kept) = (new PackedWriter(), Math.Min(boots.Count, BootsKept));
        var missing = missingBefore;
        for (var i = 0; i < boots.Count - kept; i++)
        {
            packed.Clear();
            boots.Values[i].Write(packed);
            connection.Execute("INSERT OR REPLACE INTO unit_boots (unit, boot, seqs) VALUES (?1, ?2, ?3)", unit, boots.Keys[i], packed.Sealed());
            missing += boots.Values[i].Missing;
        }

        packed.Clear();
        packed.Signed(missing);
        packed.Number((ulong)(kept < boots.Count ? boots.Keys[^kept] : oldest));
        packed.Number((ulong)kept);
        for (var i = boots.Count - kept; i < boots.Count; i++)
        {
            packed.Number((ulong)boots.Keys[i]);
            boots.Values[i].Write(packed);
        }

        connection.Execute("INSERT OR REPLACE INTO unit_counts (unit, counts) VALUES (?1, ?2)", unit, packed.Sealed());
    }

    /// <summary>What was saved is in the store: old restarts may leave the memory.</summary>
    public void Saved()
    {
        saved = saving;
        while (!IsChanged && boots.Count > BootsKept)
        {
            missingBefore += boots.Values[0].Missing;
            boots.RemoveAt(0);
            oldest = boots.Keys[0];
        }
    }

    /// <exception cref="StoreException">It is damaged.</exception>
    public static UnitCounts Read(UnitId unit, byte[] stored)
    {
        var from = new PackedReader(Seal.Open(stored, $"what is counted of unit {unit}"));
        var counts = new UnitCounts(unit) { missingBefore = from.Signed(), oldest = (long)from.Number() };
        for (var left = from.Count(); left > 0; left--)
        {
            counts.boots.Add((long)from.Number(), SequenceSet.Read(ref from));
        }

        return counts;
    }

    /// <returns>What is stored of a restart that is not among the newest; null for nothing.</returns>
    public static SequenceSet? ReadOld(SqliteConnection connection, UnitId unit, long boot)
    {
        if (connection.Scalar("SELECT seqs FROM unit_boots WHERE unit = ?1 AND boot = ?2", unit, boot) is not byte[] stored)
        {
            return null;
        }

        var from = new PackedReader(Seal.Open(stored, $"what is counted of unit {unit}"));
        return SequenceSet.Read(ref from);
    }
}
