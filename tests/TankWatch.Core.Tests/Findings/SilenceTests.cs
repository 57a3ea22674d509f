using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Findings;

/// <summary>Unknown is an answer; silence has rules of its own: power-failure and unit-silent.</summary>
public sealed class SilenceTests
{
    [Fact]
    public void A_silent_unit_makes_the_length_of_a_run_unknown() =>
        // By its rating the run would be too long at 10:32.
        Scenario.Of(Plans.House()).At("05:59").Tank("roof", "100").Stop().At("06:00").Start().Silent().Until("23:00").Never(FindingKind.RunTooLong);

    [Fact]
    public void A_word_keeps_for_75_minutes()
    {
        // Low since 06:00: due at 18:00. A last word at 16:46 still holds then, one at 16:45 does not.
        Outcome Last(string word) => Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").At("06:00").Tank("sump", "100").At(word).Tank("sump", "100").Silent().Until("1d 06:00");
        Assert.Equal("18:00", Last("16:46").Raised(FindingKind.LowSupply));
        Last("16:45").Never(FindingKind.LowSupply);
    }

    [Fact]
    public void Silence_does_not_clear_what_is_open()
    {
        var day = Scenario.Of(Plans.House()).At("05:00").Tank("sump", "111").Tank("roof", "100").Stop().At("06:00").Tank("roof", "000").At("06:10").Silent().Until("2d 00:00");
        Assert.Equal([FindingKind.RunningOut, FindingKind.NoStart], day.OpenAt("1d 23:00").OrderBy(k => k));
        var full = Scenario.Of(Plans.House()).At("05:00").Tank("roof", "110").Stop().At("06:00").Start().After(5).Tank("roof", "111").At("06:10").Silent().Until("2d 00:00");
        Assert.Contains(FindingKind.OverflowRisk, full.OpenAt("1d 23:00"));
    }

    [Fact]
    public void A_dead_unit_does_not_look_like_an_empty_tank() =>
        Assert.Empty(Scenario.Of(Plans.House()).At("05:00").Tank("sump", "110").Tank("roof", "110").Stop().Silent().Until("9d 00:00").Findings);

    [Fact]
    public void Mains_off_for_a_minute_are_a_power_failure()
    {
        var day = Scenario.Of(Plans.House()).At("05:00").Mains(true).Tank("roof", "110").At("06:00").Mains(false).At("07:00").Mains(true).Until("08:00");
        Assert.Equal("06:01", day.Raised(FindingKind.PowerFailure));
        Assert.Equal("07:01", day.Cleared(FindingKind.PowerFailure));
        Assert.Equal("u1", day.Only(FindingKind.PowerFailure).Device.Value);
        Scenario.Of(Plans.House()).At("05:00").Mains(true).At("06:00").Mains(false).At("06:00:59").Mains(true).Until("08:00").Never(FindingKind.PowerFailure);
        Scenario.Of(Plans.House()).At("05:00").Tank("roof", "110").Until("08:00").Never(FindingKind.PowerFailure);
    }

    [Fact]
    public void A_flicker_of_the_mains_does_not_end_a_power_failure()
    {
        var day = Scenario.Of(Plans.House()).At("05:00").Mains(false).At("07:00").Mains(true).At("07:00:40").Mains(false).At("08:00").Mains(true).Until("09:00");
        Assert.Equal("08:01", day.Cleared(FindingKind.PowerFailure));
    }

    private static readonly DateTimeOffset Six = Scenario.TimeOf("06:00");

    private static StatusObservation Word(DateTimeOffset at, bool online = true, long boot = 1) =>
        new(new(new("u1"), at, at, at, boot, at.ToUnixTimeSeconds()), online, null, null, null);

    [Fact]
    public void A_unit_without_a_word_for_90_minutes_is_silent()
    {
        // It promises one at least hourly (INTERFACE 1).
        var plan = Plans.House();
        var (links, _) = LinkStep.Heard(LinkState.Start(plan, Six.AddHours(-1)), 0, Word(Six), retained: false, plan);
        (links, var before) = LinkStep.Tick(links, Six.AddMinutes(89), plan);
        Assert.Empty(before.Findings);
        (links, var after) = LinkStep.Tick(links, Six.AddMinutes(95), plan);
        var silent = Assert.Single(after.Findings);
        Assert.Equal((FindingKind.UnitSilent, "u1", Six, Six.AddMinutes(90)), (silent.Kind, silent.Device.Value, silent.Since, silent.RaisedAt));
        Assert.Equal(FindingScope.Link, after.Scope);
        (_, var spoke) = LinkStep.Heard(links, 0, Word(Six.AddHours(3)), retained: false, plan);
        Assert.Equal(Six.AddHours(3), Assert.Single(spoke.Findings).ClearedAt);
    }

    [Fact]
    public void A_broken_connection_is_silence_after_ten_minutes_unless_it_comes_back()
    {
        var plan = Plans.House();
        var (links, _) = LinkStep.Heard(LinkState.Start(plan, Six), 0, Word(Six), retained: false, plan);
        (links, _) = LinkStep.Heard(links, 0, Word(Six.AddMinutes(5), online: false), retained: false, plan);
        Assert.Empty(LinkStep.Tick(links, Six.AddMinutes(14), plan).Changes.Findings);
        Assert.Equal(Six.AddMinutes(15), Assert.Single(LinkStep.Tick(links, Six.AddMinutes(15), plan).Changes.Findings).RaisedAt);
        var (back, _) = LinkStep.Heard(links, 0, Word(Six.AddMinutes(9)), retained: false, plan);
        Assert.Empty(LinkStep.Tick(back, Six.AddMinutes(60), plan).Changes.Findings);
    }

    [Fact]
    public void A_will_of_an_earlier_restart_and_a_retained_word_are_the_past()
    {
        var plan = Plans.House();
        var (links, _) = LinkStep.Heard(LinkState.Start(plan, Six), 0, Word(Six, boot: 8), retained: false, plan);
        var (late, _) = LinkStep.Heard(links, 0, Word(Six.AddMinutes(5), online: false, boot: 7), retained: false, plan);
        Assert.Empty(LinkStep.Tick(late, Six.AddMinutes(60), plan).Changes.Findings);
        var (retained, _) = LinkStep.Heard(links, 0, Word(Six.AddMinutes(80), boot: 8), retained: true, plan);
        Assert.Single(LinkStep.Tick(retained, Six.AddMinutes(90), plan).Changes.Findings);
    }

    [Fact]
    public void A_site_without_units_has_nobody_to_be_silent()
    {
        var plan = Plans.Of("""{ "id": "bare", "name": "Bare", "timeZone": "Etc/UTC", "tanks": [ { "id": "t", "role": "sump", "capacityLitres": 900, "probes": [] } ], "pumps": [], "units": [] }""");
        var (links, changes) = LinkStep.Tick(LinkState.Start(plan, Six), Six.AddHours(2), plan);
        Assert.Empty(changes.Findings);
        Assert.Equal(Six.AddHours(2), links.At);
    }

    [Fact]
    public void Our_own_outage_is_no_silence_of_a_unit()
    {
        var plan = Plans.House();
        var (links, _) = LinkStep.Heard(LinkState.Start(plan, Six), 0, Word(Six), retained: false, plan);
        links = links.ListeningAgain(Six.AddHours(5));
        Assert.Empty(LinkStep.Tick(links, Six.AddHours(5).AddMinutes(89), plan).Changes.Findings);
        Assert.Single(LinkStep.Tick(links, Six.AddHours(5).AddMinutes(90), plan).Changes.Findings);
    }

    [Fact]
    public void When_we_began_to_listen_after_the_break_is_not_taken_for_a_word()
    {
        var plan = Plans.House();
        var (links, _) = LinkStep.Heard(LinkState.Start(plan, Six), 0, Word(Six), retained: false, plan);
        (links, _) = LinkStep.Heard(links, 0, Word(Six.AddMinutes(5), online: false), retained: false, plan);
        var silent = Assert.Single(LinkStep.Tick(links.ListeningAgain(Six.AddMinutes(12)), Six.AddMinutes(15), plan).Changes.Findings);
        Assert.Equal(Six.AddMinutes(5), silent.Since);
        Assert.Contains("06:05", Assert.Single(silent.Said().Evidence), StringComparison.Ordinal);
    }

    [Fact]
    public void A_unit_that_never_spoke_is_silent_from_when_someone_began_to_listen()
    {
        var plan = Plans.House();
        var silent = Assert.Single(LinkStep.Tick(LinkState.Start(plan, Six), Six.AddHours(2), plan).Changes.Findings);
        Assert.Equal(Six, silent.Since);
        Assert.Contains("has not said a word", silent.Said().Evidence[0], StringComparison.Ordinal);
    }
}
