using System.Numerics;
using CsCheck;
using TankWatch.Core.Balance;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>Rows several numbers at a time, against one number at a time. A failure prints its seed.</summary>
public sealed class LanesTests
{
    private static readonly Gen<float[]> Rows = Gen.Select(Gen.Int[-9999, 9999].Array[0, 70], Gen.Float[-20, 20], (row, power) => Array.ConvertAll(row, x => x / 9999f * MathF.Pow(2, power)));

    [Fact]
    public void A_packed_row_is_within_half_a_step_of_itself_and_its_largest_number_is_kept() => Rows.Sample(row =>
    {
        var packed = new short[Lanes.Padded(row.Length)];
        var scale = Lanes.Pack(Padded(row), Mosts(row), 0, packed);
        var most = row.Length == 0 ? 0 : row.Max(Math.Abs);
        Assert.Equal(most / (short.MaxValue - 1), scale);
        Assert.All(row.Zip(Unpacked(packed, scale)), pair => Assert.Equal(pair.First, pair.Second, (0.5001f * scale) + (1e-6f * most)));
        Assert.True(row.Length == 0 || most == 0 || packed.Max(Math.Abs) >= short.MaxValue - 1);
    }, iter: 2000);

    [Fact]
    public void A_scale_is_kept_as_long_as_the_row_fits_in_it() => Rows.Sample(row =>
    {
        var packed = new short[Lanes.Padded(row.Length)];
        var most = row.Length == 0 ? 0 : row.Max(Math.Abs);
        var (wide, narrow) = (most / 1000, most / 40_000);
        Assert.True(most == 0 || Lanes.Pack(Padded(row), Mosts(row), wide, packed) == wide);
        Assert.All(row.Zip(packed), pair => Assert.Equal(pair.First, pair.Second * wide, (0.5001f * wide) + (1e-6f * most)));
        Assert.True(most == 0 || Lanes.Pack(Padded(row), Mosts(row), narrow, packed) > narrow);
    }, iter: 2000);

    [Fact]
    public void Nothing_packs_to_nothing()
    {
        short[] packed = [.. Enumerable.Repeat((short)7, Lanes.Padded(40))];
        Assert.Equal(0, Lanes.Pack(new float[packed.Length], Vector<float>.Zero, 0, packed));
        Assert.All(packed, number => Assert.Equal(0, number));
    }

    [Fact]
    public void Unpacking_is_multiplying_each_number_by_the_scale_and_its_own_factors_bit_by_bit() =>
        Gen.Select(Gen.Short.Array[0, 70], Gen.Float[0.001f, 100]).Sample((row, scale) =>
        {
            var packed = row.Concat(new short[Lanes.Padded(row.Length) - row.Length]).ToArray();
            var (units, left, into) = (Factors(packed.Length, 0.3f), Factors(packed.Length, 0.7f), new float[packed.Length]);
            Lanes.Unpack(packed, scale, units, left, into);
            Assert.Equal(packed.Select((x, i) => x * scale * units[i] * left[i]), into);
        }, iter: 2000);

    [Fact]
    public void Adding_a_row_is_adding_its_numbers_bit_by_bit() => Gen.Select(Rows, Gen.Float[-100, 100]).Sample((row, factor) =>
    {
        var to = Enumerable.Range(0, row.Length).Select(i => i * 0.37f).ToArray();
        var expected = to.Zip(row, (a, b) => a + (b * factor)).ToArray();
        Lanes.Add(to, row, factor);
        Assert.Equal(expected, to);
    }, iter: 2000);

    [Fact]
    public void A_sum_in_units_is_reckoned_bit_by_bit_and_its_largest_number_told() => Gen.Select(Rows, Gen.Float[-100, 100]).Sample((row, factor) =>
    {
        var padded = Padded(row);
        var (to, units) = (Factors(padded.Length, 0.37f), Factors(padded.Length, 0.3f));
        var expected = to.Select((a, i) => (a + (padded[i] * factor)) * units[i]).ToArray();
        var mosts = Lanes.Add(to, padded, factor, units);
        Assert.Equal(expected, to);
        Assert.Equal(expected.Length == 0 ? 0 : expected.Max(Math.Abs), Enumerable.Range(0, Vector<float>.Count).Max(i => mosts[i]));
    }, iter: 2000);

    private static float[] Factors(int length, float step) => [.. Enumerable.Range(0, length).Select(i => i * step)];

    private static float[] Padded(float[] row) => [.. row, .. new float[Lanes.Padded(row.Length) - row.Length]];

    private static Vector<float> Mosts(float[] row) => new(row.Length == 0 ? 0 : row.Max(Math.Abs));

    private static float[] Unpacked(short[] packed, float scale)
    {
        var (ones, back) = (Array.ConvertAll(packed, _ => 1f), new float[packed.Length]);
        Lanes.Unpack(packed, scale, ones, ones, back);
        return back;
    }
}
