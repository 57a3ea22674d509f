using TankWatch.Core;
using TankWatch.Core.Observations;

namespace TankWatch.Service.Sites;

/// <summary>
/// Holds a message back for a moment when its unit's count says that one before it is still to come: judged without it, a pump would
/// seem to have started for nothing, and somebody be told so. A unit that counts without gaps, or does not count, never waits.
/// </summary>
/// <param name="isWhole">Whether all messages of a unit's restart between two counts have been taken.</param>
internal sealed class ReorderWindow(Func<UnitId, long, long, long, bool> isWhole)
{
    /// <summary>So long it waits; then what is missing is late, and judged when it comes.</summary>
    public static readonly TimeSpan Wait = TimeSpan.FromSeconds(2);

    private readonly List<(Observation Seen, DateTimeOffset Until)> held = [];
    private readonly Dictionary<UnitId, (long Boot, long Seq)> settled = [];

    public bool IsEmpty => held.Count == 0;

    /// <returns>What may be judged now, of these and of those held.</returns>
    public List<Observation> Pass(List<Fresh> fresh, DateTimeOffset now)
    {
        var passed = new List<Observation>(fresh.Count);
        foreach (var (seen, _) in fresh)
        {
            if (held.Count == 0 && IsNext(seen.Stamp))
            {
                Settle(seen, passed);
            }
            else
            {
                held.Add((seen, now + Wait));
            }
        }

        Release(now, passed);
        return passed;
    }

    /// <returns>What has waited long enough.</returns>
    public List<Observation> Due(DateTimeOffset now)
    {
        var passed = new List<Observation>();
        Release(now, passed);
        return passed;
    }

    private void Release(DateTimeOffset now, List<Observation> passed)
    {
        if (held.Count == 0)
        {
            return;
        }

        held.Sort(static (a, b) => Observation.Order.Compare(a.Seen, b.Seen));
        for (var before = -1; before != held.Count;)
        {
            before = held.Count;
            held.RemoveAll(waiting =>
            {
                var goes = now >= waiting.Until || IsNext(waiting.Seen.Stamp);
                if (goes)
                {
                    Settle(waiting.Seen, passed); // It may have been what others waited for: hence another round.
                }

                return goes;
            });
        }
    }

    private bool IsNext(in Stamp stamp) => stamp is not { Boot: { } boot, Seq: { } seq }
        || !settled.TryGetValue(stamp.Unit, out var last) || boot != last.Boot || seq <= last.Seq || isWhole(stamp.Unit, boot, last.Seq, seq);

    private void Settle(Observation seen, List<Observation> passed)
    {
        passed.Add(seen);
        if (seen.Stamp is { Boot: { } boot, Seq: { } seq } && (!settled.TryGetValue(seen.Stamp.Unit, out var last) || (boot, seq).CompareTo(last) > 0))
        {
            settled[seen.Stamp.Unit] = (boot, seq);
        }
    }
}
