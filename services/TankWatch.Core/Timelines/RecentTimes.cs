using System.Collections.Immutable;

namespace TankWatch.Core.Timelines;

/// <summary>Moments of one kind of event within a sliding window: oldest first, bounded.</summary>
/// <remarks>
/// At the bound the oldest goes: a count of <see cref="Limit"/> is past every threshold there is, so nothing is judged wrongly by it.
/// </remarks>
public readonly record struct RecentTimes(ImmutableArray<DateTimeOffset> At)
{
    public const int Limit = 64;
    public static readonly RecentTimes None = new([]);

    public int Count => At.Length;

    /// <summary>How many lie in (<paramref name="now"/> − <paramref name="window"/>, now].</summary>
    public int CountWithin(TimeSpan window, DateTimeOffset now)
    {
        var from = now - window;
        var count = 0;
        for (var i = At.Length - 1; i >= 0 && At[i] > from; i--)
        {
            count++;
        }

        return count;
    }

    /// <summary>The nth newest within reach, or null.</summary>
    public DateTimeOffset? Newest(int nth = 1) => At.Length >= nth ? At[^nth] : null;

    public RecentTimes Add(DateTimeOffset at, TimeSpan keep)
    {
        var from = at - keep;
        var first = 0;
        while (first < At.Length && (At[first] <= from || At.Length - first >= Limit))
        {
            first++;
        }

        var kept = ImmutableArray.CreateBuilder<DateTimeOffset>(At.Length - first + 1);
        kept.AddRange(At.AsSpan()[first..]);
        kept.Add(at);
        return new(kept.MoveToImmutable());
    }
}
