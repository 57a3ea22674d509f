using System.Numerics;
using System.Runtime.InteropServices;

namespace TankWatch.Core.Balance;

/// <summary>
/// Arithmetic on rows of numbers, several at a time. Every number is reckoned by itself, so the width of the machine's registers changes no bit of a result.
/// </summary>
internal static class Lanes
{
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

    /// <summary>Whole numbers times a scale, into a row as long.</summary>
    public static void Scale(ReadOnlySpan<short> packed, float scale, Span<float> into)
    {
        var many = MemoryMarshal.Cast<short, Vector<short>>(packed);
        var to = MemoryMarshal.Cast<float, Vector<float>>(into);
        for (var i = 0; i < many.Length; i++)
        {
            Vector.Widen(many[i], out var low, out var high);
            to[2 * i] = Vector.ConvertToSingle(low) * scale;
            to[(2 * i) + 1] = Vector.ConvertToSingle(high) * scale;
        }

        for (var i = many.Length * Vector<short>.Count; i < packed.Length; i++)
        {
            into[i] = packed[i] * scale;
        }
    }

    /// <summary>A row as whole numbers against its largest.</summary>
    /// <returns>The scale.</returns>
    public static float Pack(ReadOnlySpan<float> row, Span<short> packed)
    {
        var most = Largest(row);
        if (most == 0)
        {
            packed.Clear();
            return 0;
        }

        var scale = most / short.MaxValue;
        var many = MemoryMarshal.Cast<float, Vector<float>>(row);
        var to = MemoryMarshal.Cast<short, Vector<short>>(packed);
        for (var i = 0; i < to.Length; i++)
        {
            to[i] = Vector.Narrow(Nearest(many[2 * i], scale), Nearest(many[(2 * i) + 1], scale));
        }

        for (var i = to.Length * Vector<short>.Count; i < row.Length; i++)
        {
            packed[i] = (short)MathF.Round(row[i] / scale);
        }

        return scale;
    }

    private static Vector<int> Nearest(Vector<float> row, float scale) => Vector.ConvertToInt32(Vector.Round(row / new Vector<float>(scale)));

    private static float Largest(ReadOnlySpan<float> row)
    {
        var many = MemoryMarshal.Cast<float, Vector<float>>(row);
        var mosts = Vector<float>.Zero;
        foreach (var some in many)
        {
            mosts = Vector.Max(mosts, Vector.Abs(some));
        }

        var most = 0f;
        for (var i = 0; i < Vector<float>.Count; i++)
        {
            most = Math.Max(most, mosts[i]);
        }

        for (var i = many.Length * Vector<float>.Count; i < row.Length; i++)
        {
            most = Math.Max(most, Math.Abs(row[i]));
        }

        return most;
    }
}
