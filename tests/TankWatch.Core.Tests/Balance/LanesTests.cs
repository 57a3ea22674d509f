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
        var (packed, back) = (new short[row.Length], new float[row.Length]);
        var scale = Lanes.Pack(row, 0, packed);
        Lanes.Scale(packed, scale, back);
        var most = row.Length == 0 ? 0 : row.Max(Math.Abs);
        Assert.Equal(most / (short.MaxValue - 1), scale);
        Assert.All(row.Zip(back), pair => Assert.Equal(pair.First, pair.Second, (0.5001f * scale) + (1e-6f * most)));
        Assert.True(row.Length == 0 || most == 0 || packed.Max(Math.Abs) >= short.MaxValue - 1);
    }, iter: 2000);

    [Fact]
    public void A_scale_is_kept_as_long_as_the_row_fits_in_it() => Rows.Sample(row =>
    {
        var packed = new short[row.Length];
        var most = row.Length == 0 ? 0 : row.Max(Math.Abs);
        var (wide, narrow) = (most / 1000, most / 40_000);
        Assert.True(most == 0 || Lanes.Pack(row, wide, packed) == wide);
        Assert.All(row.Zip(packed), pair => Assert.Equal(pair.First, pair.Second * wide, (0.5001f * wide) + (1e-6f * most)));
        Assert.True(most == 0 || Lanes.Pack(row, narrow, packed) > narrow);
    }, iter: 2000);

    [Fact]
    public void Nothing_packs_to_nothing()
    {
        short[] packed = [.. Enumerable.Repeat((short)7, 40)];
        Assert.Equal(0, Lanes.Pack(new float[40], 0, packed));
        Assert.All(packed, number => Assert.Equal(0, number));
    }

    [Fact]
    public void Adding_a_row_is_adding_its_numbers_bit_by_bit() => Gen.Select(Rows, Gen.Float[-100, 100]).Sample((row, factor) =>
    {
        var to = Enumerable.Range(0, row.Length).Select(i => i * 0.37f).ToArray();
        var expected = to.Zip(row, (a, b) => a + (b * factor)).ToArray();
        Lanes.Add(to, row, factor);
        Assert.Equal(expected, to);
    }, iter: 2000);
}
