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

    /// <summary>Multiplies a row.</summary>
    public static void Multiply(Span<float> row, float factor)
    {
        var many = MemoryMarshal.Cast<float, Vector<float>>(row);
        for (var i = 0; i < many.Length; i++)
        {
            many[i] *= factor;
        }

        for (var i = many.Length * Vector<float>.Count; i < row.Length; i++)
        {
            row[i] *= factor;
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

    /// <summary>A row as whole numbers against a scale.</summary>
    /// <param name="row">What to pack.</param>
    /// <param name="scale">The one to keep if the row fits in it; 0 for the smallest in which it does.</param>
    /// <param name="packed">Receives as many.</param>
    /// <returns>The scale.</returns>
    public static float Pack(ReadOnlySpan<float> row, float scale, Span<short> packed)
    {
        if (scale > 0 && Fits(row, scale, packed))
        {
            return scale;
        }

        var most = Largest(row);
        if (most < Nothing)
        {
            packed.Clear();
            return 0;
        }

        // One less than the largest number there is: rounding must not push the largest of the row past it.
        scale = most / (short.MaxValue - 1);
        Fits(row, scale, packed);
        return scale;
    }

    /// <returns>Whether no number is too large; if one is, what was packed is of no use.</returns>
    private static bool Fits(ReadOnlySpan<float> row, float scale, Span<short> packed)
    {
        var many = MemoryMarshal.Cast<float, Vector<float>>(row);
        var to = MemoryMarshal.Cast<short, Vector<short>>(packed);
        var (limit, steps) = (new Vector<float>(scale * short.MaxValue), 1 / scale);
        for (var i = 0; i < to.Length; i++)
        {
            var (low, high) = (many[2 * i], many[(2 * i) + 1]);
            if (Vector.GreaterThanAny(Vector.Max(Vector.Abs(low), Vector.Abs(high)), limit))
            {
                return false;
            }

            to[i] = Vector.Narrow(Nearest(low, steps), Nearest(high, steps));
        }

        for (var i = to.Length * Vector<short>.Count; i < row.Length; i++)
        {
            var number = MathF.Round(row[i] * steps);
            if (Math.Abs(number) > short.MaxValue)
            {
                return false;
            }

            packed[i] = (short)number;
        }

        return true;
    }

    private static Vector<int> Nearest(Vector<float> row, float steps) => Vector.ConvertToInt32(Vector.Round(row * steps));

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
