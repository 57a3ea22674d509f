using TankWatch.Core;
using TankWatch.Core.Observations;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>What is counted of one unit: its words, the gaps between them, and its clock.</summary>
internal sealed class UnitWatch
{
    /// <summary>A unit counts its restarts; one that makes them up gets no more memory than this.</summary>
    private const int BootsKept = 64;
    private const int SkewsKept = 9;

    private readonly SortedDictionary<long, (long First, long Last, long Seen)> boots = [];
    private readonly Queue<TimeSpan> skews = new();
    private long missingBefore;

    public UnitWatch(UnitId id, StoredUnitTally tally)
    {
        (Id, Accepted, Refused, HeardAt) = (id, tally.Accepted, tally.Refused, tally.LastLiveAt);
        foreach (var boot in tally.Boots)
        {
            boots[boot.Boot] = (boot.First, boot.Last, boot.Seen);
            Bound();
        }
    }

    public UnitId Id { get; }
    public DateTimeOffset? HeardAt { get; private set; }
    public long Accepted { get; private set; }
    public long Refused { get; private set; }
    public long Duplicates { get; private set; }
    public long? HighestBoot => boots.Count > 0 ? boots.Last().Key : null;

    private DateTimeOffset? NewestAt { get; set; }
    private StatusObservation? Status { get; set; }

    private long Missing => missingBefore + boots.Values.Sum(boot => boot.Last - boot.First + 1 - boot.Seen);

    public void CountDuplicate() => Duplicates++;

    public void CountRefused() => Refused++;

    /// <summary>Recalls what was read back from the store: neither a sign of life nor new to count.</summary>
    public void Recall(Observation seen)
    {
        // The broker's word that a unit is gone is none of the unit's.
        NewestAt = seen is StatusObservation { Online: false } ? NewestAt : Later(NewestAt, seen.Stamp.At);
        if (seen is StatusObservation status && !(status.Stamp.Boot < Status?.Stamp.Boot))
        {
            Status = status;
        }
    }

    public void Take(Observation seen, bool retained)
    {
        Accepted++;
        Recall(seen);
        var stamp = seen.Stamp;
        if (stamp is { Boot: { } boot, Seq: { } seq })
        {
            boots[boot] = boots.TryGetValue(boot, out var known)
                ? (Math.Min(known.First, seq), Math.Max(known.Last, seq), known.Seen + 1) : (seq, seq, 1);
            Bound();
        }

        if (retained || seen is StatusObservation { Online: false })
        {
            return;
        }

        HeardAt = Later(HeardAt, stamp.ReceivedAt);
        if (stamp.ClaimedAt is { } claimed && stamp.ReceivedAt - stamp.At <= CatchUp.LateAfter)
        {
            skews.Enqueue(stamp.ReceivedAt - claimed);
            if (skews.Count > SkewsKept)
            {
                skews.Dequeue();
            }
        }
    }

    public UnitView View(SiteId site, bool silent) => new(
        Id, site, HeardAt, NewestAt, Status?.Online, Status?.Firmware, Status?.SignalDbm, Status?.BatteryPercent, MedianSkew(), Missing, Accepted, Refused,
        Duplicates, silent);

    private TimeSpan? MedianSkew() => skews.Count == 0 ? null : skews.Order().ElementAt(skews.Count / 2);

    private void Bound()
    {
        while (boots.Count > BootsKept)
        {
            var (oldest, known) = boots.First();
            missingBefore += known.Last - known.First + 1 - known.Seen;
            boots.Remove(oldest);
        }
    }

    private static DateTimeOffset Later(DateTimeOffset? a, DateTimeOffset b) => a > b ? a.Value : b;
}
