using TankWatch.Core.Snapshots;
using Xunit;

namespace TankWatch.Core.Tests.Snapshots;

public sealed class SnapshotSpacingTests
{
    private static readonly DateTimeOffset Start = new(2026, 3, 2, 0, 0, 0, TimeSpan.Zero);

    [Theory]
    [InlineData(1)] // One is stored as soon as an hour has passed.
    [InlineData(7)]
    [InlineData(30)]
    public void About_twenty_are_kept_for_400_days_and_no_gap_is_much_longer_than_its_age(int everyHours)
    {
        var (times, most) = (new List<DateTimeOffset>(), 0);
        for (var now = Start; now <= Start.AddDays(400); now = now.AddHours(everyHours))
        {
            times.Add(now);
            var gone = SnapshotSpacing.MayGo(times, now).ToHashSet();
            Assert.DoesNotContain(times[0], gone);
            Assert.DoesNotContain(now, gone);
            times.RemoveAll(gone.Contains);
            most = Math.Max(most, times.Count);
            Assert.All(times.Zip(times.Skip(1)), pair => Assert.True(
                pair.Second - pair.First <= TimeSpan.FromHours(everyHours) + (0.75 * (now - pair.First)), $"{pair} at {now:u}"));
        }

        Assert.InRange(most, 12, 24);
    }

    [Fact]
    public void Few_or_none_may_stay()
    {
        Assert.Empty(SnapshotSpacing.MayGo([], Start));
        Assert.Empty(SnapshotSpacing.MayGo([Start], Start));
        Assert.Empty(SnapshotSpacing.MayGo([Start, Start.AddMinutes(1)], Start.AddYears(1)));
    }
}
