using TankWatch.Core.Findings;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

public sealed class UnitTests
{
    [Fact]
    public async Task Gaps_in_the_sequence_are_counted_within_each_restart_and_over_ours()
    {
        await using var rig = await Rig.RunningAsync();
        foreach (var (boot, seq) in ((long, long)[])[(1, 5), (1, 6), (1, 9), (2, 0), (2, 1), (1, 7)])
        {
            await rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", "110", seq, boot));
        }

        await rig.PassAsync(TimeSpan.FromSeconds(1), TimeSpan.FromSeconds(1));
        Assert.Equal((1L, 6L), (Unit(rig).Missing, Unit(rig).Accepted));
        await rig.StopAsync();
        await using var again = rig.Again();
        await again.StartAsync();
        Assert.Equal((1L, 6L), (Unit(again).Missing, Unit(again).Accepted));
    }

    [Fact]
    public async Task A_gap_shows_at_the_next_tick_with_since_when_and_what_comes_late_closes_it()
    {
        await using var rig = await Rig.RunningAsync();
        await SendAsync(1);
        Assert.Equal((0L, null), (Unit(rig).Missing, Unit(rig).MissingSince));
        var noticed = rig.Time.GetUtcNow();
        await SendAsync(5);
        Assert.Equal((3L, noticed), (Unit(rig).Missing, Unit(rig).MissingSince!.Value));
        await SendAsync(9);
        await SendAsync(2);
        Assert.Equal((5L, noticed), (Unit(rig).Missing, Unit(rig).MissingSince!.Value));
        await rig.StopAsync();

        await using var again = rig.Again();
        again.Clock.Advance(TimeSpan.FromHours(1));
        var started = again.Time.GetUtcNow();
        await again.StartAsync();
        Assert.Equal((5L, started), (Unit(again).Missing, Unit(again).MissingSince!.Value));
        foreach (var seq in (long[])[3, 4, 6, 7, 8])
        {
            await again.SendAsync("level", SampleSite.Level(Rig.Noon.AddMinutes(seq), "roof", "110", seq));
        }

        await again.PassAsync(TimeSpan.FromSeconds(1), TimeSpan.FromSeconds(1));
        Assert.Equal((0L, null), (Unit(again).Missing, Unit(again).MissingSince));

        async Task SendAsync(long seq)
        {
            await rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", "110", seq));
            await rig.PassAsync(TimeSpan.FromSeconds(1), TimeSpan.FromSeconds(1));
        }
    }

    [Fact]
    public async Task The_clocks_skew_is_the_median_of_live_messages_and_a_backlog_does_not_count()
    {
        await using var rig = await Rig.RunningAsync();
        var seq = 0;
        foreach (var behind in (double[])[20, 21, 22, 3600, 90])
        {
            await rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow().AddSeconds(-behind), "roof", "110", ++seq));
        }

        await rig.PassAsync(TimeSpan.FromSeconds(1), TimeSpan.FromSeconds(1));
        Assert.Equal(TimeSpan.FromSeconds(22), Unit(rig).ClockSkew);
    }

    [Fact]
    public async Task A_units_last_status_is_shown_and_a_retained_one_is_no_sign_of_life()
    {
        await using var rig = await Rig.RunningAsync();
        await rig.SendAsync("status", """{"online":true,"firmware":"1.4","signalDbm":-71,"batteryPercent":80,"boot":3,"seq":0}""", retained: true);
        await rig.PassAsync(TimeSpan.FromSeconds(1), TimeSpan.FromSeconds(1));
        Assert.Equal((null, "1.4", true), (Unit(rig).HeardAt, Unit(rig).Firmware, Unit(rig).Online));
        await rig.SendAsync("status", """{"online":false,"boot":2}""");
        await rig.PassAsync(TimeSpan.FromSeconds(1), TimeSpan.FromSeconds(1));
        Assert.True(Unit(rig).Online);
    }

    [Fact]
    public async Task A_silent_unit_is_an_alert_that_outlives_a_restart_and_ends_with_its_next_word()
    {
        await using var rig = await Rig.RunningAsync();
        await rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", "110", 1));
        await rig.PassAsync(TimeSpan.FromMinutes(95));
        var alert = Silence(rig)!;
        Assert.True(Unit(rig).Silent);
        await rig.StopAsync();

        await using var again = rig.Again();
        await again.StartAsync();
        await again.PassAsync(TimeSpan.FromMinutes(5));
        Assert.Equal((alert.Id, true), (Silence(again)!.Id, Silence(again)!.Finding.IsOpen));
        await again.SendAsync("level", SampleSite.Level(again.Time.GetUtcNow(), "roof", "110", 2));
        await again.SettleAsync();
        Assert.Equal((alert.Id, false), (Silence(again)!.Id, Silence(again)!.Finding.IsOpen));
        Assert.Null(Silence(again)!.Correction);
    }

    [Fact]
    public async Task Our_own_outage_is_nobodys_silence()
    {
        await using var rig = await Rig.RunningAsync();
        await rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", "110", 1));
        rig.Inbox.StopListening();
        await rig.PassAsync(TimeSpan.FromHours(6), TimeSpan.FromMinutes(10));
        Assert.Null(Silence(rig));
        rig.Inbox.Listen(rig.Time.GetUtcNow());
        await rig.PassAsync(TimeSpan.FromMinutes(80), TimeSpan.FromMinutes(1));
        Assert.Null(Silence(rig));
        await rig.PassAsync(TimeSpan.FromMinutes(20), TimeSpan.FromMinutes(1));
        Assert.NotNull(Silence(rig));
    }

    private static UnitView Unit(Rig rig) => rig.Directory.Find(new("alder-row"))!.Units[0];

    private static Core.Alerts.Alert? Silence(Rig rig) =>
        rig.Ledger.ListAlerts(new AlertFilter(null, null, FindingKind.UnitSilent, null, null), null, 10).SingleOrDefault();
}
