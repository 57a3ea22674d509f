using System.Numerics;
using System.Runtime.InteropServices;

namespace TankWatch.Core.Balance;

/// <summary>
/// Arithmetic on rows of numbers, several at a time. Every number is reckoned by itself, so the width of the machine's registers changes no bit of a result.
/// </summary>
internal static class Lanes
{
    /// <summary>A row whose largest is smaller has no scale that can be divided by, and says nothing.</summary>
    private const float Nothing = 1e-30f;

    /// <summary>Adds <paramref name="factor"/> times <paramref name="row"/> to <paramref name="to"/>, which is as long.</summary>
    public static void Add(Span<float> to, ReadOnlySpan<float> row, float factor)
    {
        var many = MemoryMarshal.Cast<float, Vector<float>>(to);
        var added = MemoryMarshal.Cast<float, Vector<float>>(row);
        for (var i = 0; i < many.Length; i++)
        {
            many[i] += added[i] * factor;
        }

        for (var i = many.Length * Vector<float>.Count; i < to.Length; i++)
        {
            to[i] += row[i] * factor;
        }
    }

    /// <summary>How long a row is made, with zeros, so that it is taken several numbers at a time to its end.</summary>
    public static int Padded(int length) => (length + Vector<short>.Count - 1) / Vector<short>.Count * Vector<short>.Count;

    /// <summary>Whole numbers times a scale, and each times two factors of its own. All rows are as long, and padded.</summary>
    public static void Unpack(ReadOnlySpan<short> packed, float scale, ReadOnlySpan<float> units, ReadOnlySpan<float> left, Span<float> into)
    {
        var to = MemoryMarshal.Cast<float, Vector<float>>(into);
        var each = MemoryMarshal.Cast<float, Vector<float>>(units)[..to.Length];
        var then = MemoryMarshal.Cast<float, Vector<float>>(left)[..to.Length];
        var many = MemoryMarshal.Cast<short, Vector<short>>(packed);
        for (var i = 0; i < to.Length - 1; i += 2)
        {
            Vector.Widen(many[i / 2], out var low, out var high);
            to[i] = Vector.ConvertToSingle(low) * scale * each[i] * then[i];
            to[i + 1] = Vector.ConvertToSingle(high) * scale * each[i + 1] * then[i + 1];
        }
    }

    /// <summary>Adds <paramref name="factor"/> times <paramref name="row"/>, then multiplies each by its unit. All rows are as long, and padded.</summary>
    /// <returns>The largest of each lane, without its sign.</returns>
    public static Vector<float> Add(Span<float> to, ReadOnlySpan<float> row, float factor, ReadOnlySpan<float> units)
    {
        var many = MemoryMarshal.Cast<float, Vector<float>>(to);
        var added = MemoryMarshal.Cast<float, Vector<float>>(row)[..many.Length];
        var each = MemoryMarshal.Cast<float, Vector<float>>(units)[..many.Length];
        var mosts = Vector<float>.Zero;
        for (var i = 0; i < many.Length; i++)
        {
            var sum = (many[i] + (added[i] * factor)) * each[i];
            many[i] = sum;
            mosts = Vector.Max(mosts, Vector.Abs(sum));
        }

        return mosts;
    }

    /// <summary>A row as whole numbers against a scale.</summary>
    /// <param name="row">What to pack, padded.</param>
    /// <param name="mosts">The largest of the row in each lane, without its sign.</param>
    /// <param name="scale">The one to keep if the row fits in it; 0 for the smallest in which it does.</param>
    /// <param name="packed">Receives as many.</param>
    /// <returns>The scale.</returns>
    public static float Pack(ReadOnlySpan<float> row, Vector<float> mosts, float scale, Span<short> packed)
    {
        if (scale == 0 || Vector.GreaterThanAny(mosts, new Vector<float>(scale * short.MaxValue)))
        {
            var most = Largest(mosts);
            if (most < Nothing)
            {
                packed.Clear();
                return 0;
            }

            // One less than the largest number there is: rounding must not push the largest of the row past it.
            scale = most / (short.MaxValue - 1);
        }

        var steps = 1 / scale;
        var to = MemoryMarshal.Cast<short, Vector<short>>(packed);
        var many = MemoryMarshal.Cast<float, Vector<float>>(row);
        for (var i = 0; i < many.Length - 1; i += 2)
        {
            to[i / 2] = Vector.Narrow(Nearest(many[i], steps), Nearest(many[i + 1], steps));
        }

        return scale;
    }

    private static float Largest(Vector<float> numbers)
    {
        var most = 0f;
        for (var i = 0; i < Vector<float>.Count; i++)
        {
            most = Math.Max(most, numbers[i]);
        }

        return most;
    }

    private static Vector<int> Nearest(Vector<float> row, float steps) => Vector.ConvertToInt32Native(Vector.Round(row * steps));
}
