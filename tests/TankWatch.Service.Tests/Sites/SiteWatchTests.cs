using TankWatch.Core;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

public sealed class SiteWatchTests
{
    private static readonly SiteId Alder = new("alder-row");

    [Fact]
    public async Task A_message_an_alert_that_time_raised_and_a_deletion_are_told_and_mere_time_is_not()
    {
        await using var rig = await Rig.RunningAsync();
        using var watch = rig.Directory.Watch(_ => true);
        await rig.PassAsync(TimeSpan.FromMinutes(5), TimeSpan.FromSeconds(10));
        Assert.False(watch.Any.IsCompleted);

        await rig.SendAsync("supply", SampleSite.Supply(rig.Time.GetUtcNow(), mains: false, 1));
        await watch.Any.WaitAsync(TimeSpan.FromSeconds(60), TimeProvider.System, TestContext.Current.CancellationToken);
        Assert.Equal([Alder], watch.Take());
        Assert.False(watch.Any.IsCompleted);

        var grown = rig.AlertBell.Next;
        await rig.PassAsync(TimeSpan.FromMinutes(2));
        Assert.Single(rig.Directory.Find(Alder)!.OpenAlerts);
        Assert.True(grown.IsCompleted);
        Assert.Equal([Alder], watch.Take());
        Assert.Empty(watch.Take());

        rig.Ledger.DeleteSite(Alder);
        await rig.SettleAsync();
        Assert.Equal([Alder], watch.Take());
    }

    [Fact]
    public async Task A_watch_that_ended_and_one_that_does_not_care_are_told_nothing()
    {
        await using var rig = await Rig.RunningAsync();
        var ended = rig.Directory.Watch(_ => true);
        using var indifferent = rig.Directory.Watch(site => site != Alder);
        ended.Dispose();
        await rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", "110", 1));
        await rig.SettleAsync();
        Assert.False(ended.Any.IsCompleted);
        Assert.False(indifferent.Any.IsCompleted);
    }
}
