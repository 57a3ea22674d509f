using TankWatch.Simulator;
using TankWatch.Simulator.Faults;
using Xunit;

namespace TankWatch.Core.Tests.Simulator;

public class DeterminismTests
{
    public static TheoryData<string> Buildings => [.. Estate.Buildings.Select(b => b.Id)];

    [Theory]
    [MemberData(nameof(Buildings))]
    public void The_same_seed_gives_the_same_bytes(string id)
    {
        Assert.Equal(Record(id, seed: 11, [TimeSpan.FromDays(5)]), Record(id, seed: 11, [TimeSpan.FromDays(5)]));
    }

    [Theory]
    [MemberData(nameof(Buildings))]
    public void How_time_is_cut_into_calls_changes_nothing(string id)
    {
        var whole = Record(id, seed: 12, [TimeSpan.FromHours(30)]);
        var bySecond = Record(id, seed: 12, [.. Enumerable.Repeat(TimeSpan.FromSeconds(1), 30 * 3600)]);
        var uneven = Record(id, seed: 12, [TimeSpan.FromMilliseconds(1), TimeSpan.FromHours(7.77), TimeSpan.FromSeconds(13.7), TimeSpan.FromHours(30)]);

        Assert.Equal(whole, bySecond);
        Assert.StartsWith(whole, uneven, StringComparison.Ordinal);
    }

    [Fact]
    public void Another_seed_gives_another_month()
    {
        Assert.NotEqual(Record("sorrel-court", 1, [TimeSpan.FromDays(2)]), Record("sorrel-court", 2, [TimeSpan.FromDays(2)]));
    }

    [Fact]
    public void A_fault_does_not_change_what_people_draw()
    {
        var healthy = TestSites.Watch(TestSites.SumpAndRoof(), TestSites.Seeded(5), TimeSpan.FromDays(3));
        var leaking = TestSites.Watch(
            TestSites.SumpAndRoof(), TestSites.Seeded(5), TimeSpan.FromDays(3),
            new Fault(FaultKind.Leak, "roof", TestSites.Start));

        Assert.Equal(healthy.Truth.Balance.Used, leaking.Truth.Balance.Used, tolerance: 1e-6 * healthy.Truth.Balance.Used);
    }

    /// <summary>A day of history, and the live script after it.</summary>
    private static string Record(string id, ulong seed, TimeSpan[] cuts)
    {
        var site = TestSites.Begin(Estate.Buildings.Single(b => b.Id == id), seed, history: TimeSpan.FromDays(1));
        var at = TestSites.Start;
        using var text = new StringWriter();
        foreach (var cut in cuts)
        {
            at += cut;
            Recordings.Write(site.Advance(at), text);
        }

        return text.ToString();
    }
}
