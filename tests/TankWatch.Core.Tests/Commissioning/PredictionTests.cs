using TankWatch.Core.Commissioning;
using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using Xunit;

namespace TankWatch.Core.Tests.Commissioning;

public sealed class PredictionTests
{
    [Fact]
    public void What_a_sound_house_should_do_is_told_before_any_data()
    {
        var house = Plans.House(""", "staticLiftMetres": 18, "riserLitres": 11, "dryRunDetector": true""", ", \"residents\": 48");
        var told = Predictions.Of(house);
        Assert.Equal(
            [
                "p1 delivery", "p1 roof fill-time", "p1 starts", "p1 dry-run-wait", "p1 sump restart-band", "p1 energy", "sump probe-spacing", "roof probe-spacing",
                "roof night-leak", "storage", "time-without-pump", "sump-storage",
            ],
            told.Select(p => string.Join(' ', ((string?[])[p.Pump?.Value, p.Tank?.Value, PredictionNames.Of(p.Kind)]).OfType<string>())));
        Assert.All(told, p => Assert.Equal(("fine", true), (PredictionNames.Of(p.Outlook), p.Size is { } s && s.Low <= s.Value && s.Value <= s.High)));
        Assert.All(told, p => Assert.True(p.Cautions.IsEmpty || p.Kind == PredictionKind.DryRunWait, "a caution for nobody"));
    }

    [Fact]
    public void What_the_site_file_does_not_give_is_left_out_and_never_made_up() =>
        Assert.Equal(["probe-spacing", "night-leak"], Predictions.Of(Plans.Bore([200, 600, 1000])).Select(p => PredictionNames.Of(p.Kind)));

    [Fact]
    public void A_fill_takes_as_long_as_rating_and_probes_allow()
    {
        var fill = One(Plans.House(), PredictionKind.FillTime);
        // 4 300 L at 80 L/min, of which 40 to 80 % come (common practice, CHECKS M [CP]) and at most all; the band is 5 to 10 % off (CHECKS M [CP]).
        Equal((67.19, 48.375, 147.81), fill);
        Assert.StartsWith("Pump p1 should fill roof from its lowest to its highest probe in 48 to 148 minutes", Languages.English.Say(fill.Text), StringComparison.Ordinal);
    }

    [Fact]
    public void A_fill_too_short_for_the_motor_is_looked_at_and_a_fault_where_no_delivery_saves_it()
    {
        // 52 L at 66 L/min: 47 s; at 40 % of it 118 s.
        var look = One(Plans.Bore([1118, 1144, 1170], ", \"ratedLitresPerMinute\": 66", 1560), PredictionKind.FillTime);
        Assert.Equal(Outlook.Look, look.Outlook);
        Assert.Contains("runs of 90 seconds (assumed: the site file does not say): if it delivers all of its rating, the probes are too close together", Languages.English.Say(look.Text), StringComparison.Ordinal);
        Assert.Equal(Cautions.PumpAndTank, look.Cautions);
        var fault = One(Plans.Bore([1118, 1144, 1170], ", \"ratedLitresPerMinute\": 66, \"minRunSeconds\": 150", 1560), PredictionKind.FillTime);
        Assert.Equal(Outlook.Fault, fault.Outlook);
        Assert.Contains("Its motor needs runs of 150 seconds: the probes are too close together", Languages.English.Say(fault.Text), StringComparison.Ordinal);
    }

    [Theory] // Starts an hour that the motor stands, over 300 L at 60 L/min: use causes 3.0 at most (CHECKS C1 [V-2nd, D]), 1.2 at 40 % of the rating.
    [InlineData(4, Outlook.Fine)]
    [InlineData(2, Outlook.Look)]
    [InlineData(1, Outlook.Fault)]
    public void Starts_at_the_worst_use_are_held_against_what_the_motor_stands(double most, Outlook outlook)
    {
        var starts = One(Plans.Bore([300, 600], $", \"ratedLitresPerMinute\": 60, \"maxStartsPerHour\": {Plans.Text(most)}"), PredictionKind.Starts);
        Assert.Equal(outlook, starts.Outlook);
        Equal((2.4, 3.0 * 0.4 / 1.1, 3.0 / 0.9), starts);
        Assert.Equal(most == 2, Languages.English.Say(starts.Text).Contains("With 450 litres or more", StringComparison.Ordinal)); // 60 · 60 / (4 · 2).
    }

    [Fact]
    public void Two_tanks_on_one_riser_are_filled_each_and_the_smaller_band_counts_the_starts()
    {
        var told = Predictions.Of(Plans.TwoOnOneRiser());
        Assert.Equal(["east", "west"], told.Where(p => p.Kind == PredictionKind.FillTime).Select(p => p.Tank?.Value));
        Assert.Single(told, p => p.Kind == PredictionKind.Starts);
    }

    [Theory] // CHECKS M [D], M [CP]: 1 hp, 20 m: 80 L/min at an efficiency of .35, 103 at .45, 137 at .60; a real set gives 40 to 80 % of them; 228 at 1.
    [InlineData(100, Outlook.Fine, "can be true")]
    [InlineData(137, Outlook.Fine, "can be true")]
    [InlineData(140, Outlook.Look, "doubtful")]
    [InlineData(227, Outlook.Look, "doubtful")]
    [InlineData(231, Outlook.Fault, "more than this power can lift")]
    public void A_rating_is_held_against_what_the_power_can_lift(double rated, Outlook outlook, string says)
    {
        var delivery = One(Plans.Bore([500, 900], $", \"ratedWatts\": 745.7, \"staticLiftMetres\": 20, \"ratedLitresPerMinute\": {Plans.Text(rated)}"), PredictionKind.Delivery);
        Assert.Equal(outlook, delivery.Outlook);
        Assert.Contains(says, Languages.English.Say(delivery.Text), StringComparison.Ordinal);
        Assert.Contains("more than 229 is impossible", Languages.English.Say(delivery.Text), StringComparison.Ordinal);
        Equal((0.6 * 102.8, 0.4 * 80, 137.1), delivery, 0.3);
    }

    [Fact]
    public void Friction_in_a_narrow_riser_makes_a_rating_doubtful_but_never_impossible()
    {
        Prediction With(double riser) => One(
            Plans.Bore([500, 900], $", \"ratedWatts\": 745.7, \"staticLiftMetres\": 20, \"ratedLitresPerMinute\": 120, \"riserLitres\": {Plans.Text(riser)}"), PredictionKind.Delivery);
        Assert.Equal(Outlook.Fine, With(20).Outlook);
        var narrow = With(11.11); // CHECKS B5 [D]: 26.6 mm over 20 m.
        Assert.Equal(Outlook.Look, narrow.Outlook);
        Assert.Contains("through a riser about 27 mm wide is doubtful", Languages.English.Say(narrow.Text), StringComparison.Ordinal);
        Assert.Equal(Outlook.Look, With(1).Outlook);
    }

    [Fact]
    public void The_dry_run_wait_is_what_an_empty_riser_takes()
    {
        var wait = One(Plans.House(""", "riserLitres": 11.11, "dryRunDetector": true"""), PredictionKind.DryRunWait);
        Equal((11.11 / 80 / 0.8 * 60, 11.11 / 80 * 60, 11.11 / 80 / 0.4 * 60), wait);
        Assert.Contains("must wait longer than 21 seconds", Languages.English.Say(wait.Text), StringComparison.Ordinal);
        Assert.Equal((Outlook.Fine, Cautions.Pump), (wait.Outlook, wait.Cautions));

        var tank = Plans.Bore([500, 900], ", \"ratedLitresPerMinute\": 49.5, \"riserLitres\": 11.11, \"dryRunDetector\": true");
        Assert.Equal(13.5, One(tank, PredictionKind.DryRunWait).Size!.Value.Low, 0.05); // CHECKS B5 [D]: 11.11 L at 49.5 L/min.
        var tall = Plans.Bore([500, 900], ", \"ratedLitresPerMinute\": 49.5, \"riserLitres\": 25, \"dryRunDetector\": true");
        Assert.Equal(Outlook.Look, One(tall, PredictionKind.DryRunWait).Outlook); // 76 s at 40 %; beyond 60 s a seal may be harmed (CHECKS M [CP]).
        Assert.DoesNotContain(Predictions.Of(Plans.House(", \"riserLitres\": 11")), p => p.Kind == PredictionKind.DryRunWait);
    }

    [Fact]
    public void Energy_stands_above_its_floor()
    {
        var energy = One(Plans.Bore([500, 900], ", \"staticLiftMetres\": 18"), PredictionKind.Energy);
        Assert.Equal(122.58, energy.Size!.Value.Value, 122.58 * 0.005); // CHECKS B1 [D]: 18 m, efficiency 0.40.
        Assert.Contains("less than 48 is impossible", Languages.English.Say(energy.Text), StringComparison.Ordinal); // 2.724 · 18 = 49.0 (CHECKS B1 [D]); of the lightest water 48.65.
    }

    [Fact]
    public void A_restart_band_is_as_long_as_the_run_that_it_allows()
    {
        Assert.Equal(Outlook.Fine, One(Plans.House(), PredictionKind.RestartBand).Outlook);
        var narrow = One(Plans.House(", \"minRunSeconds\": 7200"), PredictionKind.RestartBand); // 3 300 L at 80 L/min: 41 min; at 40 % 103 min.
        Assert.Equal((Outlook.Fault, Cautions.PumpAndSump), (narrow.Outlook, narrow.Cautions));
        Assert.Contains("have the second one set higher", Languages.English.Say(narrow.Text), StringComparison.Ordinal);
        Assert.Equal(Outlook.Look, One(Plans.House(", \"minRunSeconds\": 3600"), PredictionKind.RestartBand).Outlook);
    }

    private static Prediction One(SitePlan plan, PredictionKind kind) => Assert.Single(Predictions.Of(plan), p => p.Kind == kind);

    private static void Equal((double Value, double Low, double High) expected, Prediction prediction, double within = 0.006)
    {
        var size = prediction.Size!.Value;
        Assert.Equal(expected.Value, size.Value, within);
        Assert.Equal(expected.Low, size.Low, within);
        Assert.Equal(expected.High, size.High, within);
    }
}
