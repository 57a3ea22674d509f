using System.Collections.Immutable;

namespace TankWatch.Core.Timelines;

/// <summary>The newest few of a quantity, newest last, and their median: a normal that one odd value does not move.</summary>
public readonly record struct Sample(ImmutableArray<float> Values)
{
    public static readonly Sample Empty = new([]);

    public int Count => Values.Length;

    private readonly double median = MedianOf(Values);

    /// <summary>Null when empty.</summary>
    public double? Median => Values.IsDefaultOrEmpty ? null : median;

    public Sample Add(double value, int keep)
    {
        var from = Math.Max(0, Values.Length - keep + 1);
        var kept = ImmutableArray.CreateBuilder<float>(Values.Length - from + 1);
        kept.AddRange(Values.AsSpan()[from..]);
        kept.Add((float)value);
        return new(kept.MoveToImmutable());
    }

    private static double MedianOf(ImmutableArray<float> values)
    {
        if (values.IsDefaultOrEmpty)
        {
            return 0;
        }

        Span<float> sorted = stackalloc float[values.Length];
        values.AsSpan().CopyTo(sorted);
        sorted.Sort();
        var middle = sorted.Length / 2;
        return sorted.Length % 2 == 1 ? sorted[middle] : (sorted[middle - 1] + (double)sorted[middle]) / 2;
    }
}
