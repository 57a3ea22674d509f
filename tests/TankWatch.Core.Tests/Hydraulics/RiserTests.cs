using TankWatch.Core.Hydraulics;
using Xunit;

namespace TankWatch.Core.Tests.Hydraulics;

public sealed class RiserTests
{
    [Theory] // CHECKS B5 [D]: mm, m, litres.
    [InlineData(20.9, 12, 4.12)]
    [InlineData(26.6, 15, 8.34)]
    [InlineData(26.6, 20, 11.11)]
    [InlineData(27, 15, 8.59)]
    [InlineData(32.6, 20, 16.69)]
    [InlineData(35, 20, 19.24)]
    public void A_risers_width_follows_from_what_it_holds(double millimetres, double metres, double litres) =>
        Assert.Equal(millimetres, new Riser(new(litres), metres).Diameter * 1000, 0.02);

    [Fact]
    public void An_empty_riser_makes_the_tank_wait() =>
        Assert.Equal(13.5, Cycle.Fill(new(11.11), new(49.5)).TotalSeconds, 0.05); // CHECKS B5 [D].

    [Theory] // CHECKS B3: mm, L/min, m, roughness, head loss by Darcy and Weisbach with Swamee and Jain, by Hazen and Williams in SI, and as EPANET has it [V-2nd, M].
    [InlineData(26.6, 50, 20, 1.5e-6, 0.02208, 1.912, 1.853, 1.857)]
    [InlineData(26.6, 50, 20, 1.5e-4, 0.03399, 2.895, 2.801, 2.807)]
    [InlineData(32.5, 100, 30, 1.5e-6, 0.01980, 3.782, 3.782, 3.789)]
    public void Friction_is_that_of_the_published_formulae(
        double millimetres, double flow, double metres, double roughness, double factor, double darcy, double hazen, double epanet)
    {
        var d = millimetres / 1000;
        var lost = new Riser(new(Math.PI / 4 * d * d * metres * 1000), metres).FrictionMetres(new(flow), roughness);
        var speed = flow / 60_000 / (Math.PI / 4 * d * d);
        Assert.Equal(factor, lost * d / metres * 2 * Water.Gravity / (speed * speed), 0.00001);
        Assert.Equal(darcy, lost, darcy * 0.02); // The table's is with Colebrook's factor, up to 1.2 % from Swamee and Jain's.
        Assert.Equal(hazen, lost, hazen * 0.05); // CHECKS B3: the two formulae differ by several per cent, tolerance 5 %.
        Assert.Equal(epanet, lost, epanet * 0.05);
    }

    [Fact]
    public void A_trickle_is_smooth_and_loses_in_proportion_to_its_flow()
    {
        var riser = new Riser(new(11.11), 20);
        double At(double flow) => riser.FrictionMetres(new(flow), Riser.SmoothestRoughness);
        Assert.Equal(2 * At(0.5), At(1), 1e-9); // Hagen and Poiseuille: f = 64/Re [M].
        Assert.True(At(2.8) < At(3.0), "and never less for more");
    }
}
