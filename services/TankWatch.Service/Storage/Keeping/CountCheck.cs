using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Service.Storage.Series;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>Compares what is counted of one unit with its rows: either without the other would lose a message or take it twice.</summary>
/// <param name="unit">Whose.</param>
/// <param name="inJournal">Its rows in the journal, which are counted when the journal is read and need not stand in the counts yet.</param>
/// <param name="isSwept">Messages were deleted for their age, so that more are counted than there are.</param>
/// <param name="fault">Is told each fault in one line.</param>
internal sealed class CountCheck(UnitId unit, UnitJournal inJournal, bool isSwept, Action<string> fault)
{
    private readonly Dictionary<long, SequenceSet> counted = [];
    private readonly Dictionary<long, (long Rows, long Uncounted)> folded = [];
    private readonly HashSet<(long Boot, long Seq)> onlyInJournal = [.. inJournal.Counted];
    private readonly HashSet<(int Stream, long At, ulong Content)> uncountedInJournal = [.. inJournal.Uncounted];
    private long rowsOfBlocks;

    /// <summary>Of the unit; one that is being folded stands in the journal and in its block, and is one.</summary>
    public long Messages => rowsOfBlocks + onlyInJournal.Count + uncountedInJournal.Count;

    /// <returns>False when the counts are damaged; that was told.</returns>
    public bool Read(SqliteConnection connection)
    {
        try
        {
            foreach (var boot in connection.List("SELECT boot FROM unit_boots WHERE unit = ?1", row => row.GetInt64(0), unit))
            {
                counted[boot] = UnitCounts.ReadOld(connection, unit, boot)!;
            }

            if (connection.Scalar("SELECT counts FROM unit_counts WHERE unit = ?1", unit) is byte[] stored)
            {
                foreach (var (boot, taken) in UnitCounts.Read(unit, stored).Restarts)
                {
                    counted[boot] = taken;
                }
            }

            return true;
        }
        catch (StoreException damage)
        {
            fault(damage.Message);
            return false;
        }
    }

    /// <summary>A row of a block.</summary>
    public void Add(int stream, in SeriesRow row)
    {
        rowsOfBlocks++;
        if (row is not { Boot: { } boot, Seq: { } seq })
        {
            uncountedInJournal.Remove(UnitJournal.KeyOf(stream, row));
            return;
        }

        var isKnown = (counted.TryGetValue(boot, out var taken) && taken.Contains(seq)) || inJournal.Counted.Contains((boot, seq));
        var (rows, uncounted) = folded.GetValueOrDefault(boot);
        folded[boot] = (rows + 1, uncounted + (isKnown ? 0 : 1));
        onlyInJournal.Remove((boot, seq));
    }

    /// <summary>After all rows.</summary>
    public void Compare()
    {
        var (waiting, unfolded) = (inJournal.Counted.ToLookup(row => row.Boot, row => row.Seq), onlyInJournal.ToLookup(row => row.Boot));
        foreach (var boot in counted.Keys.Union(folded.Keys).Union(waiting.Select(rows => rows.Key)).Order())
        {
            var (rows, uncounted) = folded.GetValueOrDefault(boot);
            var stored = rows + unfolded[boot].Count();
            var taken = counted.GetValueOrDefault(boot);
            var known = (taken?.Count ?? 0) + waiting[boot].Count(seq => taken?.Contains(seq) != true);
            if (uncounted > 0)
            {
                fault($"unit {unit}, restart {boot}: {uncounted} stored messages are not in its counts");
            }
            else if (isSwept ? known < stored : known != stored)
            {
                fault($"unit {unit}, restart {boot}: {known} messages are counted and {stored} are stored");
            }
        }
    }
}
