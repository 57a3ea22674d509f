using TankWatch.Core;
using TankWatch.Core.Observations;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>What is counted of one unit: its words, the gaps between them, and its clock.</summary>
internal sealed class UnitWatch
{
    private const int SkewsKept = 9;

    private readonly Queue<TimeSpan> skews = new();
    private LastStatus? status;

    /// <param name="id">The unit.</param>
    /// <param name="refused">Messages of it that could not be taken and are still kept.</param>
    /// <param name="mark">What was saved of it; null for nothing.</param>
    public UnitWatch(UnitId id, long refused, UnitMark? mark)
    {
        (Id, Refused, Accepted, HeardAt, NewestAt) = (id, refused, mark?.Accepted ?? 0, mark?.HeardAt, mark?.NewestAt);
        if (mark is { Online: { } online })
        {
            status = new(online, mark.Firmware, mark.SignalDbm, mark.BatteryPercent, mark.StatusBoot);
        }
    }

    public UnitId Id { get; }
    public DateTimeOffset? HeardAt { get; private set; }
    public long Accepted { get; private set; }
    public long Refused { get; private set; }
    public long Duplicates { get; private set; }

    private DateTimeOffset? NewestAt { get; set; }
    private DateTimeOffset? MissingSince { get; set; }

    /// <summary>To be saved with its site.</summary>
    public UnitMark Mark => new(
        Id, Accepted, HeardAt, NewestAt, status?.Online, status?.Firmware, status?.SignalDbm, status?.BatteryPercent, status?.Boot);

    public void CountDuplicate() => Duplicates++;

    public void CountRefused() => Refused++;

    public void Take(Observation seen, bool retained)
    {
        Accepted++;
        var stamp = seen.Stamp;
        if (seen is StatusObservation told && !(stamp.Boot < status?.Boot))
        {
            status = new(told.Online, told.Firmware, told.SignalDbm, told.BatteryPercent, stamp.Boot);
        }

        if (seen is StatusObservation { Online: false })
        {
            return; // The broker's word that a unit is gone is none of the unit's.
        }

        NewestAt = Later(NewestAt, stamp.At);
        if (retained)
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

    /// <param name="site">Where it stands.</param>
    /// <param name="silent">An alert says so.</param>
    /// <param name="missing">Sequence numbers it skipped.</param>
    /// <param name="now">Wall clock, UTC: when a gap that was not there at the view before is noticed.</param>
    public UnitView View(SiteId site, bool silent, long missing, DateTimeOffset now)
    {
        MissingSince = missing > 0 ? MissingSince ?? now : null;
        return new(
            Id, site, HeardAt, NewestAt, status?.Online, status?.Firmware, status?.SignalDbm, status?.BatteryPercent, MedianSkew(), missing, MissingSince,
            Accepted, Refused, Duplicates, silent);
    }

    private TimeSpan? MedianSkew()
    {
        Span<TimeSpan> sorted = stackalloc TimeSpan[SkewsKept];
        var count = 0;
        foreach (var skew in skews)
        {
            sorted[count++] = skew;
        }

        sorted[..count].Sort();
        return count == 0 ? null : sorted[count / 2];
    }

    private static DateTimeOffset Later(DateTimeOffset? a, DateTimeOffset b) => a > b ? a.Value : b;

    /// <summary>What the newest status said.</summary>
    private sealed record LastStatus(bool Online, string? Firmware, double? SignalDbm, double? BatteryPercent, long? Boot);
}
