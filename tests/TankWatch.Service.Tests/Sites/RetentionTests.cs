using TankWatch.Service.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

/// <summary>Messages are deleted for their age; what was made of them stays.</summary>
public sealed class RetentionTests
{
    private const int Days = 45;

    [Fact]
    public async Task Old_messages_go_by_whole_days_and_the_figures_of_their_days_stay()
    {
        await using var rig = await FilledAsync();
        var before = Figures(rig);
        await rig.FoldAsync();
        var oldest = rig.Series.ReadFrom(Plan, DateTimeOffset.MinValue)[0].Stamp.At;
        Assert.Equal(rig.Time.GetUtcNow().AddDays(-30).UtcDateTime.Date, oldest.UtcDateTime.Date);
        AssertSame(before, Figures(rig));
        Assert.Equal(oldest.UtcDateTime.Date, rig.Series.ReadRawFrom(Plan.Id)!.Value.UtcDateTime);
    }

    [Fact]
    public async Task What_comes_late_from_before_them_is_kept_and_changes_nothing()
    {
        await using var rig = await FilledAsync();
        await rig.FoldAsync();
        var before = Figures(rig);
        await rig.SendAsync("pump", SampleSite.Pump(Rig.Noon.AddDays(-40).AddMinutes(3), true, 9001));
        await rig.PassAsync(TimeSpan.FromMinutes(1), TimeSpan.FromSeconds(5));
        AssertSame(before, Figures(rig));
        Assert.Equal(9001, rig.Series.ReadFrom(Plan, DateTimeOffset.MinValue)[0].Stamp.Seq);
    }

    [Fact]
    public async Task A_restart_and_another_site_file_leave_the_figures_of_deleted_days_as_they_were()
    {
        await using var rig = await FilledAsync();
        await rig.FoldAsync();
        var before = Figures(rig);
        await rig.StopAsync();

        await using var again = rig.Again();
        Assert.Null(again.Put(SampleSite.Json().Replace("12000", "12500", StringComparison.Ordinal)));
        await again.StartAsync();
        var cut = again.Series.ReadRawFrom(Plan.Id)!.Value;
        Assert.Equal(before.Runs.Where(run => run.StoppedAt < cut), Figures(again).Runs.Where(run => run.StoppedAt < cut));
        Assert.Equal(before.Runs.Count, Figures(again).Runs.Count);
        Assert.Equal(before.Days.Count, Figures(again).Days.Count);
    }

    private static void AssertSame((IReadOnlyList<Core.Timelines.PumpRun> Runs, IReadOnlyList<string> Days) before, (IReadOnlyList<Core.Timelines.PumpRun> Runs, IReadOnlyList<string> Days) after)
    {
        Assert.Equal(before.Runs, after.Runs);
        Assert.Equal(before.Days, after.Days);
    }

    private static Core.Sites.SitePlan Plan { get; } = SampleSite.Plan(SampleSite.Json());

    private static (IReadOnlyList<Core.Timelines.PumpRun> Runs, IReadOnlyList<string> Days) Figures(Rig rig) => (
        rig.Series.ListRuns(Plan.Id, DateTimeOffset.MinValue, DateTimeOffset.MaxValue),
        [.. rig.Series.ListDays(Plan.Id, DateOnly.MinValue, DateOnly.MaxValue).Select(StoredJson.Write)]);

    /// <summary>A run every six hours for longer than messages are kept.</summary>
    private static async Task<Rig> FilledAsync()
    {
        var rig = Rig.New();
        rig.Data.KeepRawDays = 30;
        Assert.Null(rig.Put(SampleSite.Json()));
        await rig.StartAsync();
        var seq = 0;
        for (var at = Rig.Noon.AddDays(-Days); at < Rig.Noon; at = at.AddHours(6))
        {
            await rig.SendAsync("pump", SampleSite.Pump(at, true, ++seq));
            await rig.SendAsync("pump", SampleSite.Pump(at.AddMinutes(20), false, ++seq));
        }

        await rig.PassAsync(TimeSpan.FromSeconds(30), TimeSpan.FromSeconds(5));
        Assert.Equal(Days * 4, Figures(rig).Runs.Count);
        return rig;
    }
}
