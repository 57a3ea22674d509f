using System.Numerics;

namespace TankWatch.Simulator;

/// <summary>
/// A stream of pseudo-random numbers (xoshiro256**, Blackman and Vigna, 2018), written out here so that a seed gives the
/// same site on every version of the runtime.
/// </summary>
/// <remarks>Each purpose has its own stream: a fault that uses up numbers of one must not change the use of water.</remarks>
internal sealed class SeededStream
{
    private ulong _s0;
    private ulong _s1;
    private ulong _s2;
    private ulong _s3;

    public SeededStream(ulong seed, string purpose)
    {
        var state = seed ^ Fingerprint(purpose);
        _s0 = SplitMix(ref state);
        _s1 = SplitMix(ref state);
        _s2 = SplitMix(ref state);
        _s3 = SplitMix(ref state);
    }

    /// <returns>At least 0 and below 1.</returns>
    public double Unit() => (Next() >> 11) * (1.0 / (1UL << 53));

    public double Between(double low, double high) => low + ((high - low) * Unit());

    public bool Chance(double probability) => Unit() < probability;

    public double Exponential(double mean) => -mean * Math.Log(1 - Unit());

    /// <summary>Normal deviate of mean 0 and standard deviation 1 (Box and Muller, 1958).</summary>
    public double Normal() => Math.Sqrt(-2 * Math.Log(1 - Unit())) * Math.Cos(2 * Math.PI * Unit());

    /// <summary>Count of events when <paramref name="mean"/> are expected (Knuth's product method: fit for a small mean).</summary>
    public int Poisson(double mean)
    {
        var limit = Math.Exp(-mean);
        var count = 0;
        for (var product = Unit(); product > limit; product *= Unit())
        {
            count++;
        }

        return count;
    }

    private ulong Next()
    {
        var result = BitOperations.RotateLeft(_s1 * 5, 7) * 9;
        var t = _s1 << 17;
        _s2 ^= _s0;
        _s3 ^= _s1;
        _s1 ^= _s2;
        _s0 ^= _s3;
        _s2 ^= t;
        _s3 = BitOperations.RotateLeft(_s3, 45);
        return result;
    }

    private static ulong SplitMix(ref ulong state)
    {
        state += 0x9E3779B97F4A7C15;
        var z = state;
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EB;
        return z ^ (z >> 31);
    }

    /// <summary>FNV-1a; string.GetHashCode differs from one process to the next.</summary>
    private static ulong Fingerprint(string text)
    {
        var hash = 14695981039346656037UL;
        foreach (var c in text)
        {
            hash = (hash ^ c) * 1099511628211UL;
        }

        return hash;
    }
}
