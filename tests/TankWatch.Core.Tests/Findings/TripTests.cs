using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Findings;

public sealed class TripTests
{
    private static Outcome Trips(string cause, string until, params string[] at)
    {
        var day = Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").Tank("roof", "110").Stop();
        foreach (var clock in at)
        {
            day.At(clock).Start().After(2).Stop(cause: cause);
        }

        return day.Until(until);
    }

    [Theory]
    [InlineData("dry-run", FindingKind.RepeatedDryTrips)]
    [InlineData("sump-low", FindingKind.RepeatedDryTrips)]
    [InlineData("under-voltage", FindingKind.VoltageTrips)]
    [InlineData("over-voltage", FindingKind.VoltageTrips)]
    public void The_third_such_stop_within_a_day_raises_and_one_left_clears(string cause, FindingKind kind)
    {
        var day = Trips(cause, "3d 00:00", "06:00", "09:00", "12:00");
        Assert.Equal("12:02", day.Raised(kind));
        Assert.Equal("06:02", day.Since(kind));
        Assert.Equal("1d 09:02", day.Cleared(kind)); // Two left at 06:02 keep it open; one left clears it.
        Assert.Contains("3 such stops", day.Only(kind).Said().Evidence[0], StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("dry-run", FindingKind.RepeatedDryTrips)]
    [InlineData("under-voltage", FindingKind.VoltageTrips)]
    public void Two_in_a_day_and_a_third_a_day_later_do_not(string cause, FindingKind kind) =>
        Trips(cause, "3d 00:00", "06:00", "09:00", "1d 06:00").Never(kind);

    [Fact]
    public void Two_overloads_are_enough_and_all_must_have_passed_before_it_clears()
    {
        Trips("overload", "3d 00:00", "06:00").Never(FindingKind.OverloadTrips);
        Trips("overload", "3d 00:00", "06:00", "1d 06:00").Never(FindingKind.OverloadTrips);
        var day = Trips("overload", "3d 00:00", "06:00", "12:00");
        Assert.Equal("12:02", day.Raised(FindingKind.OverloadTrips));
        Assert.Equal("1d 12:02", day.Cleared(FindingKind.OverloadTrips));
    }

    [Fact]
    public void The_advice_on_overload_is_to_leave_the_pump_off()
    {
        var text = Trips("overload", "1d 00:00", "06:00", "12:00").Only(FindingKind.OverloadTrips).Said();
        Assert.DoesNotContain(text.Advice.Append(text.Summary), line => line.Contains("reset", StringComparison.OrdinalIgnoreCase)
            || line.Contains("switch it back on", StringComparison.OrdinalIgnoreCase) || line.Contains("try again", StringComparison.OrdinalIgnoreCase));
        Assert.Contains(text.Advice, line => line.Contains("Leave the pump off", StringComparison.Ordinal));
    }

    [Fact]
    public void Stops_at_the_top_are_no_trips() =>
        Assert.Empty(Trips("level", "1d 00:00", "06:00", "07:30", "09:00").Findings.Where(f => f.Kind is FindingKind.RepeatedDryTrips or FindingKind.VoltageTrips or FindingKind.OverloadTrips));

    [Fact]
    public void Different_causes_are_counted_apart() =>
        Assert.Empty(Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").Tank("roof", "110").Stop()
            .At("06:00").Start().After(2).Stop(cause: "dry-run").At("07:00").Start().After(2).Stop(cause: "dry-run")
            .At("08:00").Start().After(2).Stop(cause: "under-voltage").At("09:00").Start().After(2).Stop(cause: "over-voltage")
            .At("10:00").Start().After(2).Stop(cause: "overload").Until("12:00").Findings);

    [Theory] // CHECKS D1 [V]: 230 V ±10 % is 207 to 253 V; a motor may run within. The unit decides; its word and volts are taken as they are.
    [InlineData("under-voltage", 206.9, true)]
    [InlineData("over-voltage", 253.1, true)]
    [InlineData("level", 207.0, false)]
    [InlineData("level", 253.0, false)]
    public void Stops_outside_the_voltage_band_count_and_stops_within_do_not(string cause, double volts, bool counts)
    {
        Assert.Equal(counts, volts is < 230 * 0.9 or > 230 * 1.1);
        Assert.Equal(counts, Trips(cause, "12:30", "06:00", "09:00", "12:00").Kinds.Contains(FindingKind.VoltageTrips));
    }

    [Fact]
    public void A_stop_repeated_by_the_unit_is_one_trip() =>
        Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").Tank("roof", "110").Stop()
            .At("06:00").Start().After(2).Stop(cause: "dry-run").After(5).Stop(cause: "dry-run").After(5).Stop(cause: "dry-run").Until("08:00")
            .Never(FindingKind.RepeatedDryTrips);
}
