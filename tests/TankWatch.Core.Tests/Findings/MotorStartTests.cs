using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Findings;

/// <summary>The motor's own limit comes from the site file; here the published table of allowable starts stands in it.</summary>
public sealed class MotorStartTests
{
    [Theory] // CHECKS C2 [V-2nd]: NEMA MG 10-2001 table 2-3, column A: most starts an hour of 2, 4 and 6 poles at 1, 1.5, 2, 3 and 25 hp.
    [InlineData(15)]
    [InlineData(30)]
    [InlineData(34)]
    [InlineData(12.9)]
    [InlineData(25.7)]
    [InlineData(29.1)]
    [InlineData(11.5)]
    [InlineData(23)]
    [InlineData(26.1)]
    [InlineData(9.9)]
    [InlineData(19.8)]
    [InlineData(22.4)]
    [InlineData(4.4)]
    [InlineData(8.8)]
    [InlineData(10)]
    [InlineData(2.44)] // The published example: 25 hp, 4-pole, load 50 lb·ft²: 122 / 50.
    public void A_motor_stands_its_allowable_starts_and_not_one_more(double most)
    {
        var plan = Plans.Bore([500, 900], $", \"minRunSeconds\": 1, \"maxStartsPerHour\": {Plans.Text(most)}");
        Outcome With(int starts) => Scenario.Of(plan).At("05:00").Tank("roof", "10").Stop().At("06:00")
            .Times(starts, d => d.Start().After(0.5).Stop().After((59.0 / starts) - 0.5)).Until("08:00");
        var allowed = (int)Math.Floor(most);
        With(allowed).Never(FindingKind.ShortCycling);
        Assert.Equal(FindingKind.ShortCycling, With(allowed + 1).Only(FindingKind.ShortCycling).Kind);
    }

    [Fact]
    public void A_limit_that_the_site_file_does_not_give_is_shown_as_assumed()
    {
        var day = Scenario.Of(Plans.House()).At("06:00").Tank("roof", "110").Stop().Times(7, d => d.After(5).Start().After(2).Stop()).Until("08:00");
        Assert.Contains("assumed", day.Only(FindingKind.ShortCycling).Said().Evidence[0], StringComparison.Ordinal);
        var given = Scenario.Of(Plans.House(""", "maxStartsPerHour": 6""")).At("06:00").Tank("roof", "110").Stop()
            .Times(7, d => d.After(5).Start().After(2).Stop()).Until("08:00");
        Assert.DoesNotContain("assumed", given.Only(FindingKind.ShortCycling).Said().Evidence[0], StringComparison.Ordinal);
    }
}
