using TankWatch.Core;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>The durable past of one site: its messages, and the snapshots of what was known.</summary>
internal sealed class StoredRecord(SeriesStore series, SitePlan plan) : ISiteRecord
{
    public IReadOnlyList<Observation> Read(Observation? after, DateTimeOffset from, int limit)
    {
        var page = new List<Observation>();
        foreach (var days in series.ReadDays(plan, from))
        {
            foreach (var (seen, _) in days)
            {
                if (seen.Stamp.At >= from && (after is null || Observation.Order.Compare(seen, after) > 0))
                {
                    page.Add(seen);
                    if (page.Count == limit)
                    {
                        return page;
                    }
                }
            }
        }

        return page;
    }

    public SiteState? StateBefore(Observation first)
    {
        for (var at = first.Stamp.At; series.ReadSnapshot(plan.Id, at) is { } stored; at = stored.At.AddTicks(-1))
        {
            if (SiteStateCodec.Read(stored.State, plan) is { } state && state.IsNewer(first))
            {
                return state;
            }
        }

        return null;
    }

    /// <summary>How far back the site can go once messages were deleted for their age: to the oldest snapshot after which all are there.</summary>
    /// <returns>Null when all of them are there.</returns>
    public DateTimeOffset? Floor() => series.ReadRawFrom(plan.Id) is { } raw ? series.ReadFirstSnapshot(plan.Id, raw) ?? DateTimeOffset.MaxValue : null;
}
