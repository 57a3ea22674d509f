using System.Buffers;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;

namespace TankWatch.Core.Tests;

/// <summary>The durable past of a site, as a store keeps it: observations in order, snapshots as bytes.</summary>
internal sealed class MemoryRecord(SitePlan plan) : ISiteRecord
{
    private readonly List<Observation> observations = [];
    private readonly SortedDictionary<DateTimeOffset, byte[]> snapshots = [];

    public int Snapshots => snapshots.Count;

    public void Add(IEnumerable<Observation> fresh)
    {
        foreach (var observation in fresh)
        {
            var at = observations.BinarySearch(observation, Observation.Order);
            observations.Insert(at < 0 ? ~at : at, observation);
        }
    }

    public IReadOnlyList<Observation> Read(Observation? after, DateTimeOffset from, int limit)
    {
        var first = after is null ? 0 : observations.BinarySearch(after, Observation.Order) is var at && at < 0 ? ~at : at + 1;
        return [.. observations.Skip(first).SkipWhile(o => o.Stamp.At < from).Take(limit)];
    }

    public SiteState? StateBefore(Observation first) => States().FirstOrDefault(state => state.IsNewer(first));

    /// <summary>The newest snapshot; null for none.</summary>
    public SiteState? Newest => States().FirstOrDefault();

    public void Store(SiteState state)
    {
        snapshots[state.At] = Bytes(state, plan);
        foreach (var at in SnapshotSpacing.MayGo([.. snapshots.Keys], snapshots.Keys.Last()))
        {
            snapshots.Remove(at);
        }
    }

    public static byte[] Bytes(SiteState state, SitePlan plan)
    {
        var bytes = new ArrayBufferWriter<byte>();
        SiteStateCodec.Write(state, plan, bytes);
        return bytes.WrittenSpan.ToArray();
    }

    /// <summary>Late data void the snapshots of their moment or later.</summary>
    public void Void(DateTimeOffset from)
    {
        foreach (var at in snapshots.Keys.Where(at => at >= from).ToList())
        {
            snapshots.Remove(at);
        }
    }

    private IEnumerable<SiteState> States() => snapshots.Values.Reverse().Select(bytes => SiteStateCodec.Read(bytes, plan)!);
}
