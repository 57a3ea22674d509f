using TankWatch.Core.Hydraulics;
using Xunit;

namespace TankWatch.Core.Tests.Hydraulics;

public sealed class OrificeTests
{
    [Theory] // CHECKS B6 [D]: hole in mm, and L/h at 3, 10 and 20 m.
    [InlineData(1, 13.2, 24.2, 34.2)]
    [InlineData(2, 52.9, 96.6, 136.6)]
    [InlineData(3, 119.1, 217.4, 307.4)]
    public void A_hole_lets_out_what_Torricelli_says_and_is_told_from_it(double millimetres, double at3, double at10, double at20)
    {
        foreach (var (head, litres) in (ReadOnlySpan<(double, double)>)[(3, at3), (10, at10), (20, at20)])
        {
            Assert.Equal(litres, Orifice.LitresPerHour(millimetres, head), 0.06);
            Assert.Equal(millimetres, Orifice.HoleMillimetres(litres, head), 0.005);
        }
    }

    [Fact]
    public void A_published_leak_of_irrigation_comes_out_of_its_hole()
    {
        const double Gallon = 3.785411784, Psi = 6894.757; // L; Pa.
        var litresPerHour = Orifice.LitresPerHour(25.4 / 32, 60 * Psi / (1000 * Water.Gravity));
        Assert.Equal(0.521, litresPerHour / 60, 0.001); // CHECKS B6 [D]: L/min through 1/32 inch at 60 psi.
        var gallonsPerMonth = litresPerHour * 730.5 / Gallon;
        Assert.Equal(6032, gallonsPerMonth, 6032 * 0.005); // CHECKS B6 [D].
        Assert.Equal(6300, gallonsPerMonth, 6300 * 0.05); // CHECKS B6 [V-2nd], EPA WaterSense: about 6 300 gallons a month; ours is 4 % less.
    }

    [Fact]
    public void A_tank_empties_through_a_hole_in_the_time_of_the_closed_form()
    {
        // CHECKS A5 [D], Torricelli: 1 m² from 1.2 to 0.3 m through 2 mm takes 35.85 h, 25.1 L/h on the mean.
        const int Steps = 9000;
        double Hours(double from, double to) =>
            Enumerable.Range(0, Steps).Sum(i => 1000 * (from - to) / Steps / Orifice.LitresPerHour(2, from - ((i + 0.5) * (from - to) / Steps)));
        Assert.Equal(35.85, Hours(1.2, 0.3), 0.005);
        Assert.Equal(25.1, 900 / Hours(1.2, 0.3), 0.05);
        Assert.True(Hours(0.75, 0.3) > Hours(1.2, 0.75), "a falling level slows a leak");
    }
}
