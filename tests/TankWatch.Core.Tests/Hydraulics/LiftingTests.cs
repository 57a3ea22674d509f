using TankWatch.Core.Hydraulics;
using Xunit;

namespace TankWatch.Core.Tests.Hydraulics;

public sealed class LiftingTests
{
    private const double Round = 1000; // kg/m³, as the hand calculations of CHECKS take it.

    [Theory] // CHECKS B2: Tanaka et al., Metrologia 38 (2001) 301-309 [M, table recomputed], kg/m³.
    [InlineData(0, 999.843)]
    [InlineData(4, 999.975)]
    [InlineData(10, 999.703)]
    [InlineData(15, 999.103)]
    [InlineData(20, 998.207)]
    [InlineData(25, 997.047)]
    [InlineData(30, 995.649)]
    [InlineData(35, 994.033)]
    [InlineData(40, 992.215)]
    public void Water_is_as_dense_as_its_table_says(double celsius, double expected) =>
        Assert.Equal(expected, Water.Density(celsius), 0.0006); // Half of its last digit.

    [Fact]
    public void A_cubic_metre_through_one_metre_takes_its_weight_in_energy()
    {
        Assert.Equal(2.7241, Lifting.EnergyFloor(1, Round), 0.00005); // CHECKS B1 [D]: 1000 · 9.80665 / 3600 Wh.
        Assert.Equal(2.7192, Lifting.EnergyFloor(1, Water.Density(20)), 0.00005); // CHECKS B1 [D].
        Assert.Equal(2.7122, Lifting.EnergyFloor(1, Water.Density(30)), 0.0001); // CHECKS B1 [D].
        Assert.True(Lifting.EnergyFloor(1, Water.Density(Water.WarmestCelsius)) < 2.7122, "the floor that always holds is that of the lightest water");
    }

    [Theory] // CHECKS B1 [D]: m³/h, m, efficiency, W in, Wh/m³.
    [InlineData(3, 20, 0.45, 363.2, 121.07)]
    [InlineData(2.4, 18, 0.40, 294.2, 122.58)]
    public void Power_and_energy_of_a_set_follow_from_flow_head_and_efficiency(double cubicMetresPerHour, double head, double efficiency, double watts, double energy)
    {
        var flow = new LitresPerMinute(cubicMetresPerHour * 1000 / 60);
        Assert.Equal(watts, Lifting.Watts(flow, head, Round) / efficiency, 0.06);
        Assert.Equal(energy, Lifting.EnergyFloor(head, Round) / efficiency, 0.006);
        Assert.Equal(flow.Value, Lifting.Delivery(watts, head, efficiency, Round).Value, 0.01);
    }

    [Fact]
    public void The_water_of_three_cubic_metres_an_hour_over_20_metres_takes_163_watts() =>
        Assert.Equal(163.44, Lifting.Watts(new(50), 20, Round), 0.005); // CHECKS B1 [D].

    [Fact]
    public void The_power_is_that_of_an_independent_solver()
    {
        var watts = Lifting.Watts(new(49.5312), 20.124, Round) / 0.40;
        Assert.Equal(407.3, watts, 0.05); // CHECKS B1 [D], by the formula.
        Assert.Equal(407.1, watts, 407.1 * 0.005); // CHECKS A1, B1 [V]: EPANET 2.2, tolerance 0.5 % on energy.
    }

    [Theory] // CHECKS M [D]: L/min at hp and metres for efficiencies .35, .45, .60; rated power is the input.
    [InlineData(0.5, 10, 80, 103, 137)]
    [InlineData(0.5, 15, 53, 68, 91)]
    [InlineData(0.5, 20, 40, 51, 68)]
    [InlineData(0.5, 25, 32, 41, 55)]
    [InlineData(0.5, 30, 27, 34, 46)]
    [InlineData(1, 10, 160, 205, 274)]
    [InlineData(1, 15, 106, 137, 182)]
    [InlineData(1, 20, 80, 103, 137)]
    [InlineData(1, 25, 64, 82, 109)]
    [InlineData(1, 30, 53, 68, 91)]
    [InlineData(1.5, 10, 240, 308, 411)]
    [InlineData(1.5, 15, 160, 205, 274)]
    [InlineData(1.5, 20, 120, 154, 205)]
    [InlineData(1.5, 25, 96, 123, 164)]
    [InlineData(1.5, 30, 80, 103, 137)]
    [InlineData(2, 10, 319, 411, 547)]
    [InlineData(2, 15, 213, 274, 365)]
    [InlineData(2, 20, 160, 205, 274)]
    [InlineData(2, 25, 128, 164, 219)]
    [InlineData(2, 30, 106, 137, 182)]
    public void What_a_rated_power_delivers_is_the_table_of_practitioners(double hp, double head, double low, double usual, double most)
    {
        double At(double efficiency) => Lifting.Delivery(hp * 745.7, head, efficiency, Round).Value;
        Assert.Equal((low, usual, most), (Math.Round(At(0.35)), Math.Round(At(0.45)), Math.Round(At(0.60))));
    }

    [Fact]
    public void Energy_of_a_real_set_lies_in_the_range_of_practice()
    {
        // CHECKS M [B1, CP]: 100 to 200 Wh/m³ at 15 to 25 m with efficiencies of 0.30 to 0.45, in round figures.
        Assert.Equal(100, Lifting.EnergyFloor(15, Round) / 0.45, 10.0);
        Assert.InRange(Lifting.EnergyFloor(20, Round) / 0.30, 100, 200);
        Assert.InRange(Lifting.EnergyFloor(25, Round) / 0.45, 100, 200);
    }
}
