using System.Numerics;

namespace TankWatch.Service.Load;

/// <summary>Latencies in microseconds, in buckets at most 1/32 wide of their value: bounded memory for any length of run. May be written by many at once.</summary>
internal sealed class LatencyHistogram
{
    private const int StepBits = 5;
    private readonly long[] buckets = new long[64 << StepBits];
    private long max;

    public void Add(TimeSpan latency)
    {
        var microseconds = Math.Max(0, (long)latency.TotalMicroseconds);
        Interlocked.Increment(ref buckets[BucketOf(microseconds)]);
        for (var seen = Interlocked.Read(ref max); microseconds > seen; seen = Interlocked.Read(ref max))
        {
            Interlocked.CompareExchange(ref max, microseconds, seen);
        }
    }

    /// <param name="share">0 to 1; 1 is the largest.</param>
    /// <returns>Milliseconds, never below the true value by more than 1/32; 0 when nothing was measured.</returns>
    public double Milliseconds(double share)
    {
        var left = (long)Math.Ceiling(buckets.Sum() * share);
        var bucket = 0;
        while (bucket < buckets.Length - 1 && (left -= buckets[bucket]) > 0)
        {
            bucket++;
        }

        return Math.Round((share >= 1 ? max : Math.Min(max, EndOf(bucket))) / 1000.0, 3);
    }

    private static int BucketOf(long value)
    {
        var shift = Math.Max(0, BitOperations.Log2((ulong)value | 1) - StepBits);
        return (shift << StepBits) + (int)(value >> shift);
    }

    private static long EndOf(int bucket)
    {
        var shift = Math.Max(0, (bucket >> StepBits) - 1);
        return ((long)(bucket - (shift << StepBits) + 1) << shift) - 1;
    }
}
