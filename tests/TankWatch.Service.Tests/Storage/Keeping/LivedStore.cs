using TankWatch.Service.Storage.Keeping;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage.Keeping;

/// <summary>A service that has lived two days: fills, runs, an alert and its mail, most of it folded, the rest in the journal.</summary>
internal static class LivedStore
{
    public static async Task<Rig> RunningAsync()
    {
        var rig = await Rig.RunningAsync();
        var seq = 0L;
        for (var day = 0; day < 2; day++)
        {
            for (var fill = 0; fill < 3; fill++)
            {
                await FillAsync(rig, seq += 10);
                await rig.PassAsync(TimeSpan.FromHours(7), TimeSpan.FromMinutes(35));
            }
        }

        await rig.FailPowerAsync(seq += 10);
        for (var minutes = 0; rig.Series.Fold.IsWanted; minutes++)
        {
            Assert.InRange(minutes, 0, 1000);
            await rig.PassAsync(TimeSpan.FromMinutes(1), TimeSpan.FromMinutes(1));
        }

        await rig.PassAsync(TimeSpan.FromSeconds(2), TimeSpan.FromSeconds(1));
        await rig.RestorePowerAsync(seq += 10);
        await FillAsync(rig, seq + 10, TimeSpan.FromSeconds(20));
        return rig;
    }

    /// <param name="rig">The service.</param>
    /// <param name="seq">The first of six counts.</param>
    /// <param name="apart">Between the messages; without it, twenty minutes.</param>
    public static async Task FillAsync(Rig rig, long seq, TimeSpan? apart = null)
    {
        foreach (var (wet, running) in new (string, bool?)[] { ("000", null), ("", true), ("100", null), ("110", null), ("111", null), ("", false) })
        {
            await (running is { } runs
                ? rig.SendAsync("pump", SampleSite.Pump(rig.Time.GetUtcNow(), runs, seq++))
                : rig.SendAsync("level", SampleSite.Level(rig.Time.GetUtcNow(), "roof", wet, seq++)));
            await rig.PassAsync(apart ?? TimeSpan.FromMinutes(20), apart ?? TimeSpan.FromMinutes(10));
        }
    }

    /// <summary>Checks the rig's store while it stands still between steps.</summary>
    public static async Task<(StoreChecked Done, List<string> Said)> CheckAsync(Rig rig, Func<Task>? pause = null)
    {
        var said = new List<string>();
        var done = await new StoreCheck(rig.Database, TimeProvider.System, pause ?? (() => Task.CompletedTask), said.Add).RunAsync(_ => { });
        return (done, said);
    }

    /// <summary>Fails unless the check finds faults and names them all so.</summary>
    public static async Task FindsAsync(Rig rig, params string[] says)
    {
        var (done, said) = await CheckAsync(rig);
        Assert.True(done.Faults > 0, "no fault was found");
        Assert.All(says, word => Assert.Contains(said, line => line.StartsWith("fault: ", StringComparison.Ordinal) && line.Contains(word, StringComparison.Ordinal)));
        Assert.DoesNotContain(said, line => line.Contains('\n', StringComparison.Ordinal));
    }
}
