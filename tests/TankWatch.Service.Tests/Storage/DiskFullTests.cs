using System.Diagnostics;
using TankWatch.Service.Tests.EndToEnd;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

/// <summary>The real program on a small disk that fills up.</summary>
public sealed class DiskFullTests(ITestOutputHelper output)
{
    private const int Megabytes = 24;
    private const int Houses = 4;

    [Theory]
    [InlineData(200_000)]
    [InlineData(100)] // It folds most of the time, so that the disk is full for a fold as well.
    public async Task On_a_full_disk_nothing_is_acknowledged_the_reason_is_told_and_it_goes_on_alone_once_there_is_room(int foldRows)
    {
        using var disk = TemporaryDisk.Mounted(Megabytes);
        List<FieldUnit> units = [.. Enumerable.Range(1, Houses).Select(number => new FieldUnit(number))];
        using var houses = new ServedHouses(null, units.ConvertAll(unit => unit.SiteJson), Path.Combine(disk.Folder, "data"), foldRows);
        units.ForEach(unit => unit.Secret = houses.Secrets[unit.Id]);
        await houses.ServeAsync();
        using var enough = new CancellationTokenSource();
        var talking = units.ConvertAll(unit => Task.Run(() => unit.TalkAsync(houses.Host, houses.Port, enough.Token)));
        await Eventually.Holds(() => units.TrueForAll(unit => unit.Acknowledged > 100), "acknowledged messages");

        // What the log of the store has taken of the disk already it may use; then it is full for it too.
        disk.Fill();
        var (_, said) = await Eventually.Comes(houses.Service.HealthAsync, health => !health.Ready && health.Said.Length > 0, "a service that is not ready", TimeSpan.FromSeconds(60));
        Assert.Contains("full", said, StringComparison.Ordinal);
        disk.Fill();
        var before = units.ConvertAll(unit => unit.Acknowledged);
        await Task.Delay(TimeSpan.FromSeconds(5), TestContext.Current.CancellationToken); // So long nothing may happen.
        Assert.Equal(before, units.ConvertAll(unit => unit.Acknowledged));
        Assert.False((await houses.Service.HealthAsync()).Ready);
        Assert.All(units.Zip(before), unit => Assert.True(houses.StoredOf(unit.First.Plan, new(unit.First.Id)) >= unit.Second));

        disk.Free();
        var freed = Stopwatch.GetTimestamp();
        await Eventually.Holds(() => units.Zip(before).All(unit => unit.First.Acknowledged > unit.Second), "messages acknowledged again", TimeSpan.FromSeconds(30));
        await houses.ReadyAsync("a service that is ready again", TimeSpan.FromSeconds(30) - Stopwatch.GetElapsedTime(freed));
        output.WriteLine($"went on {Stopwatch.GetElapsedTime(freed).TotalSeconds:0.0} s after there was room; before: {said}");
        await enough.CancelAsync();
        await Task.WhenAll(talking).WaitAsync(TimeSpan.FromSeconds(30), TestContext.Current.CancellationToken);
        Assert.All(units, unit => Assert.Equal(unit.Acknowledged, houses.StoredOf(unit.Plan, new(unit.Id))));
    }

    [Fact]
    public async Task A_first_start_on_a_full_disk_ends_with_one_clear_line()
    {
        using var disk = TemporaryDisk.Mounted(Megabytes);
        using var houses = new ServedHouses(null, [SampleSite.Json()], Path.Combine(disk.Folder, "data"));
        Directory.Delete(Path.Combine(disk.Folder, "data"), recursive: true);
        disk.Fill();
        var (code, said) = await houses.Service.FailToServeAsync();
        output.WriteLine(said);
        Assert.Equal(1, code);
        Assert.Single(said.TrimEnd().Split('\n'));
        Assert.Contains(disk.Folder, said, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_later_start_on_a_full_disk_takes_nothing_until_there_is_room()
    {
        using var disk = TemporaryDisk.Mounted(Megabytes);
        var unit = new FieldUnit(1);
        using var houses = new ServedHouses(null, [unit.SiteJson], Path.Combine(disk.Folder, "data"));
        unit.Secret = houses.Secrets[unit.Id];
        await houses.ServeAsync();
        await houses.Service.KillAsync();
        disk.Fill();
        await houses.Service.ServeAsync();
        using var enough = new CancellationTokenSource();
        var talking = Task.Run(() => unit.TalkAsync(houses.Host, houses.Port, enough.Token), CancellationToken.None);
        await Eventually.Comes(houses.Service.HealthAsync, health => health.Said.Contains("full", StringComparison.Ordinal), "a reason");
        var before = unit.Acknowledged;
        disk.Free();
        await Eventually.Holds(() => unit.Acknowledged > before, "messages acknowledged again", TimeSpan.FromSeconds(30));
        await enough.CancelAsync();
        await talking.WaitAsync(TimeSpan.FromSeconds(30), TestContext.Current.CancellationToken);
        Assert.Equal(unit.Acknowledged, houses.StoredOf(unit.Plan, new(unit.Id)));
    }
}
