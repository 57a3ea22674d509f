using TankWatch.Core.Commissioning;
using TankWatch.Core.Sites;
using TankWatch.Core.Tests.Replaying;
using TankWatch.Core.Texts;
using Xunit;

namespace TankWatch.Core.Tests.Commissioning;

public sealed class StorageTests
{
    [Theory] // CHECKS M [CP]: probes ±2 to 3 cm off; in a tank 1 to 2 m deep two of them make 2.5 to 5 % of it.
    [InlineData(500, Outlook.Fine)]
    [InlineData(120, Outlook.Look)]
    [InlineData(60, Outlook.Fault)]
    public void Probes_closer_than_their_own_error_are_told(double gap, Outlook outlook)
    {
        var spacing = One(Plans.Bore([200, 200 + gap, 2200], capacity: 2400), PredictionKind.ProbeSpacing);
        Assert.Equal(outlook, spacing.Outlook);
        Assert.Equal(outlook == Outlook.Fault, Languages.English.Say(spacing.Text).Contains("the wrong order", StringComparison.Ordinal));
        Assert.Equal(outlook == Outlook.Fine, spacing.Cautions.IsEmpty);
    }

    [Fact]
    public void A_band_of_the_usual_size_has_the_usual_error()
    {
        // CHECKS M [D, CP]: a tank of 1 m² is ±25 L off at each probe; bands are 5 to 10 % off. Marks of run A (CHECKS A1): 300 to 1 200 L of a tank 1.3 m deep.
        var spacing = One(Plans.Bore([300, 1200], capacity: 1300), PredictionKind.ProbeSpacing).Size!.Value;
        Assert.InRange(50, spacing.Low, spacing.High);
        Assert.InRange(spacing.Value / 900, 0.05, 0.10);
    }

    [Fact]
    public void One_probe_alone_cannot_keep_the_starts_apart()
    {
        var told = Predictions.Of(Plans.Bore([1400], ", \"ratedLitresPerMinute\": 45", site: ", \"residents\": 12"));
        Assert.Equal(["probe-spacing", "time-without-pump"], told.Select(p => PredictionNames.Of(p.Kind)));
        Assert.Equal((Outlook.Look, null), (told[0].Outlook, told[0].Size));
    }

    [Fact]
    public void One_quiet_night_shows_what_moves_the_surface_from_probe_to_probe()
    {
        var leak = One(Plans.Bore([300, 600, 900], ", \"staticLiftMetres\": 20", site: ", \"residents\": 24"), PredictionKind.NightLeak);
        Assert.Equal(60, leak.Size!.Value.Value, 1e-9); // CHECKS A3 [D]: 300 L in 5 h.
        Assert.Contains("a hole of 1.3 mm at the foot", Languages.English.Say(leak.Text), StringComparison.Ordinal); // CHECKS B6 [D]: 1 mm at 20 m 34.2 L/h, 2 mm 136.6.
        Assert.Contains("Of 24 people some still draw about 14 litres an hour", Languages.English.Say(leak.Text), StringComparison.Ordinal); // CHECKS E7 [V, D]: 14.4.
        Assert.Contains("loses about 32", Languages.English.Say(leak.Text), StringComparison.Ordinal); // CHECKS E6 [V-2nd]: 31.5.
        var close = Plans.Bore([300, 330, 360], site: ", \"residents\": 24"); // 30 L in 5 h are 6 L/h: no more than people draw at night.
        Assert.Equal(14.4, One(close, PredictionKind.NightLeak).Size!.Value.Value, 1e-9);
    }

    [Fact]
    public void Storage_is_held_against_the_people_who_live_on_it()
    {
        var house = Plans.House(site: ", \"residents\": 48"); // 48 people: 6 480 L a day, half a day 3 240 L (CHECKS E1 [D]).
        Assert.Equal(4300 / 270.0, One(house, PredictionKind.Storage).Size!.Value.Value, 1e-9);
        var without = One(house, PredictionKind.TimeWithoutPump).Size!.Value;
        Assert.Equal((1500 / 270.0, 5800 / 270.0), (without.Low, without.High));
        var sump = One(house, PredictionKind.SumpStorage);
        Assert.Equal((Outlook.Fine, 5700 / 270.0, 10_500 / 270.0), (sump.Outlook, sump.Size!.Value.Low, sump.Size.Value.High));
        Assert.Equal(Outlook.Look, One(Plans.House(site: ", \"residents\": 90"), PredictionKind.SumpStorage).Outlook); // 11.3 h.
        Assert.DoesNotContain(Predictions.Of(Plans.House()), p => p is { Pump: null, Tank: null });
    }

    [Fact]
    public void More_fills_a_day_than_wear_allows_are_told()
    {
        var many = One(Plans.Bore([1118, 1170], ", \"ratedLitresPerMinute\": 66", 1560, ", \"residents\": 32"), PredictionKind.Storage);
        Assert.Equal(Outlook.Look, many.Outlook); // 52 L for 180 L/h; 2 to 8 starts a day are usual (CHECKS M [CP]).
        Assert.Contains("about 78 fills a day", Languages.English.Say(many.Text), StringComparison.Ordinal);
    }

    [Fact]
    public void A_fire_reserve_is_no_water_to_live_on()
    {
        SitePlan With(int reserve) => Plans.Of($$"""
            { "id": "s", "name": "S", "timeZone": "Etc/UTC", "residents": 24,
              "tanks": [ { "id": "roof", "role": "overhead", "capacityLitres": 2000, "fireReserveLitres": {{reserve}}, "probes": [ { "name": "a", "volumeLitres": 500 }, { "name": "b", "volumeLitres": 1800 } ] } ],
              "pumps": [], "units": [] }
            """);
        var above = One(With(230), PredictionKind.TimeWithoutPump);
        Assert.Equal((Outlook.Fine, 2.0), (above.Outlook, above.Size!.Value.Low)); // 270 L for 135 L/h.
        var within = One(With(500), PredictionKind.TimeWithoutPump);
        Assert.Equal((Outlook.Look, 0.0), (within.Outlook, within.Size!.Value.Low));
        Assert.Contains("lies within its fire reserve", Languages.English.Say(within.Text), StringComparison.Ordinal);
    }

    [Theory]
    [MemberData(nameof(Systems))]
    public void What_a_simulated_system_does_lies_where_it_was_predicted(string name)
    {
        var (plan, truth) = (Recorded.Of(name).Plan, Recorded.Of(name).Truth);
        var pump = plan.Pumps[0];
        // The first day, before any of the faults; what is delivered follows from the truth alone, so use during the fill does not enter.
        var delivery = truth.GetProperty("runs").EnumerateArray().Take(3).Average(run => run.GetProperty("mean_delivery_lpm").GetDouble());
        var probes = plan.Tanks[pump.To[0]].Probes;
        var fill = One(plan, PredictionKind.FillTime).Size!.Value;
        Assert.InRange((probes[^1].Volume.Value - probes[0].Volume.Value) / delivery, fill.Low, fill.High);
        if (name[0] == 'o') // The closed forms state a power that has nothing to do with their flows.
        {
            var expected = One(plan, PredictionKind.Delivery).Size!.Value;
            Assert.InRange(delivery, expected.Low, expected.High);
        }
    }

    [Fact]
    public void Of_the_simulated_systems_only_the_one_that_cycles_has_a_fault()
    {
        var faulty = Recorded.Names.Where(name => Predictions.Of(Recorded.Of(name).Plan).Any(p => p.Outlook == Outlook.Fault));
        Assert.Equal(["o10_short_cycling"], faulty);
    }

    [Fact]
    public void Numbers_beyond_any_building_break_nothing()
    {
        const string Tiny = "1e-300", Huge = "1e9";
        foreach (var (flow, rest) in (ReadOnlySpan<(string, string)>)[(Tiny, Huge), (Huge, Tiny), (Tiny, Tiny), (Huge, Huge)])
        {
            var told = Predictions.Of(Plans.Bore(
                [1e-300, 1e9], $", \"ratedLitresPerMinute\": {flow}, \"ratedWatts\": {rest}, \"staticLiftMetres\": {flow}, \"riserLitres\": {rest}, \"dryRunDetector\": true, \"maxStartsPerHour\": {rest}, \"minRunSeconds\": 5", 1e9, ", \"residents\": 1000000"));
            Assert.All(told, p => Assert.True(p.Size is not { } size || double.IsFinite(size.Low + size.Value + size.High), Languages.English.Say(p.Text)));
        }
    }

    [Fact]
    public void Every_kind_and_outlook_has_its_published_name()
    {
        Assert.Equal(
            [
                "delivery", "dry-run-wait", "energy", "fill-time", "night-leak", "probe-spacing", "restart-band", "starts", "storage", "sump-storage", "time-without-pump",
            ],
            Enum.GetValues<PredictionKind>().Select(PredictionNames.Of).Order(StringComparer.Ordinal));
        Assert.Equal(["fine", "look", "fault"], Enum.GetValues<Outlook>().Select(PredictionNames.Of));
    }

    public static TheoryData<string> Systems => new(Recorded.Names);

    private static Prediction One(SitePlan plan, PredictionKind kind) => Predictions.Of(plan).First(p => p.Kind == kind);
}
