using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Timelines;

public sealed class SiteSentencesTests
{
    private static (string Water, string Pumps) Said(Scenario day, string until)
    {
        var outcome = day.Until(until);
        return (SiteSentences.Water(outcome.Plan, outcome.State, Scenario.TimeOf(until)), SiteSentences.Pumps(outcome.Plan, outcome.State, Scenario.TimeOf(until)));
    }

    private static Scenario House() => Scenario.Of(Plans.House());

    [Fact]
    public void Before_the_first_word_nothing_is_known() =>
        Assert.Equal(("Nothing is known of the water in roof yet.", "Nothing is known of pump p1 yet."), Said(House(), "06:00"));

    [Theory]
    [InlineData("000", "is below its lowest probe, 1500 litres or less, since 2 Mar 06:00.")]
    [InlineData("100", "holds between 1500 and 3900 litres.")]
    [InlineData("110", "holds between 3900 and 5800 litres.")]
    [InlineData("111", "is full, 5800 litres or more.")]
    [InlineData("101", "is full, 1500 litres or more.")] // Out of order: the bounds take in both readings.
    public void Water_is_told_as_bounds(string wet, string said) => Assert.Equal($"Tank roof {said}", Said(House().At("06:00").Tank("roof", wet), "06:30").Water);

    [Fact]
    public void An_old_word_is_told_to_be_old()
    {
        var (water, pumps) = Said(House().At("06:00").Tank("roof", "110").Stop(cause: "dry-run").Silent(), "10:00");
        Assert.EndsWith("litres, as of 4 hours ago.", water, StringComparison.Ordinal);
        Assert.Equal("Pump p1 has been at rest since 2 Mar 06:00, stopped because no water came, as far as its last word tells.", pumps);
    }

    [Fact]
    public void A_fire_reserve_is_not_shown_as_water_to_use()
    {
        var plan = Plans.House();
        var reserved = plan with { Tanks = [plan.Tanks[0], plan.Tanks[1] with { FireReserve = new(2000) }] };
        Assert.Equal("Tank roof holds between 0 and 1900 litres above the fire reserve.", Said(Scenario.Of(reserved).At("06:00").Tank("roof", "100"), "06:30").Water);
    }

    [Fact]
    public void Probes_that_fail_tell_nothing_of_the_water() =>
        Assert.Equal("What roof holds is not known: its probes fail.", Said(House().At("06:00").Tank("roof", "110").After(1).Tank("roof", "000"), "06:30").Water);

    [Fact]
    public void A_pump_in_manual_mode_is_told_to_be() =>
        Assert.Equal("Pump p1 has been running since 2 Mar 06:00, in manual mode.", Said(House().At("05:00").Stop().At("06:00").Start(cause: "manual", mode: "manual"), "06:10").Pumps);
}
