using TankWatch.Core.Alerts.Load;
using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Alerts.Load;

/// <summary>Cases with an answer that can be worked out by hand: CHECKS F6 and F7 [D], at their very edges.</summary>
public sealed class LoadMeasureTests
{
    private const double Minute = 60, TenMinutes = 600, Hour = 3600, Day = 86_400, Tick = 1e-7;

    [Theory]
    [InlineData(true, 0d, 25d, 50d)]
    [InlineData(false, 0d, 31d, 62d)]
    [InlineData(false, 0d, 30d, 60d)] // The second minute begins with its first moment.
    [InlineData(true, 0d, 30d, 60 - Tick)]
    [InlineData(true, 0d, 31d, 62d, 90d)] // The last three.
    [InlineData(false, 0d, 25d)]
    public void Three_within_any_minute_chatter(bool chatters, params double[] seconds)
    {
        var load = seconds.Select(second => Told.At(second)).ToArray().Load();
        Assert.Equal((chatters, chatters ? 1 : 0), (load.Worst[0].Chatters, load.Chattering));
    }

    [Fact]
    public void Three_sources_once_each_do_not_chatter() => Assert.Equal(0, Told.Each(0, 25, 50).Load().Chattering);

    [Fact]
    public void One_of_four_seconds_in_a_day_is_fleeting() => Assert.Equal(1, new[] { Told.At(Hour, lastsSeconds: 4) }.Load().Fleeting);

    [Fact]
    public void What_lasts_a_minute_still_stands_or_comes_again_at_once_is_not_fleeting()
    {
        Assert.Equal(0, new[] { Told.At(0, lastsSeconds: 60) }.Load().Fleeting);
        Assert.Equal(1, new[] { Told.At(0, lastsSeconds: 60 - Tick) }.Load().Fleeting);
        Assert.Equal(0, new[] { Told.At(0, lastsSeconds: null) }.Load().Fleeting);
        Assert.Equal(0, new[] { Told.At(0, lastsSeconds: 4), Told.At(30, lastsSeconds: 4) }.Load().Fleeting);
        Assert.Equal(2, new[] { Told.At(0, lastsSeconds: 4), Told.At(60, lastsSeconds: 4) }.Load().Fleeting);
        Assert.Equal(2, new[] { Told.At(0, "p1", 4), Told.At(30, "p2", 4) }.Load().Fleeting);
    }

    [Theory]
    [InlineData(0, Day)]
    [InlineData(1, Day + 1)]
    [InlineData(1, Day + Tick)]
    public void What_stands_longer_than_a_day_is_stale(int stale, double lasts) =>
        Assert.Equal(stale, new[] { Told.At(0, lastsSeconds: lasts) }.Load(days: 3).Stale.Length);

    [Fact]
    public void What_was_told_before_the_time_counts_only_as_stale_and_only_while_it_stands()
    {
        Annunciation[] before = [Told.At(-3 * Day, "open", null), Told.At(-3 * Day, "over", (3 * Day) - 1), Told.At(-10, "young", Hour)];
        var load = before.Load();
        Assert.Equal((0, LoadVerdict.Silent, 1, 1), (load.Count, load.Verdict, load.Stale.Length, load.MostStale));
        Assert.Equal(before[0], load.Stale[0]);
    }

    [Fact]
    public void A_day_stale_begins_when_people_were_told_however_old_the_condition_was()
    {
        var old = Told.At(0, lastsSeconds: null) with { ActiveFrom = Told.Start.AddDays(-9) };
        Assert.Empty(new[] { old }.Load(days: 1).Stale);
        Assert.Single(new[] { old }.Load(days: 1.001).Stale);
    }

    [Fact]
    public void Those_that_are_stale_at_one_time_are_counted_together_and_one_that_ends_makes_room()
    {
        Annunciation[] told = [Told.At(0, "a", 3 * Day), Told.At(0, "b", 2 * Day), Told.At(Day, "c", 2 * Day), Told.At(Day, "d", Hour)];
        var load = told.Load(days: 5);
        Assert.Equal((3, 2), (load.Stale.Length, load.MostStale)); // b ends in the moment in which c grows stale.
        Assert.Equal(told[0], load.Stale[0]);
    }

    [Fact]
    public void Eleven_within_ten_minutes_are_a_flood_which_ends_when_four_are_left()
    {
        double[] seconds = [.. Enumerable.Range(0, 11).Select(i => i * 59.9)]; // The last after 9 min 59 s.
        var load = Told.Each(seconds).Load();
        var flood = Assert.Single(load.Floods);
        Assert.Equal((11, 11), (load.MostInTenMinutes, flood.Count));
        Assert.Equal(9 * 59.9, (flood.From - Told.Start).TotalSeconds, 1e-6); // With the tenth.
        Assert.Equal(TenMinutes + (6 * 59.9), (flood.To - Told.Start).TotalSeconds, 1e-6); // The seventh leaves, and four are left.
        Assert.Equal(flood.Length / TimeSpan.FromDays(1), load.InFlood, 1e-9);
        Assert.Equal((flood.Length, LoadVerdict.Bursts), (load.LongestFlood, load.Verdict)); // 7 min are half a per cent of a day.
    }

    [Theory]
    [InlineData(1, TenMinutes - Tick)]
    [InlineData(0, TenMinutes)] // The tenth comes when the first is out of sight.
    public void Ten_are_a_flood_within_ten_minutes_and_not_in_just_ten(int floods, double last) =>
        Assert.Equal(floods, Told.Each([.. Enumerable.Range(0, 9).Select(i => i * Minute), last]).Load().Floods.Length);

    [Fact]
    public void A_flood_that_still_goes_on_ends_with_the_time_asked_for()
    {
        var load = Told.Each([.. Enumerable.Range(0, 12).Select(i => Day - 100 + i)]).Load();
        Assert.Equal(Told.Start.AddDays(1), Assert.Single(load.Floods).To);
        Assert.Equal(12, load.Floods[0].Count);
    }

    [Fact]
    public void A_hundred_and_fifty_in_a_day_are_one_in_ten_minutes_and_acceptable()
    {
        var load = Told.Each([.. Enumerable.Range(0, 150).Select(i => i * Day / 150)]).Load();
        Assert.Equal((150, 6.25, LoadVerdict.Quiet), (load.PerDay, load.PerHour, load.Verdict));
        Assert.Equal(1.04, load.PerTenMinutes, 0.005);
    }

    [Theory]
    [InlineData(151, LoadVerdict.Demanding)]
    [InlineData(300, LoadVerdict.Demanding)]
    [InlineData(301, LoadVerdict.TooMuch)]
    [InlineData(0, LoadVerdict.Silent)]
    [InlineData(1, LoadVerdict.Quiet)]
    public void Averages_are_held_against_the_standards(int inADay, LoadVerdict verdict) =>
        Assert.Equal(verdict, Told.Each([.. Enumerable.Range(0, inADay).Select(i => i * Day / Math.Max(1, inADay))]).Load().Verdict);

    [Fact]
    public void The_figures_of_the_standard_agree_with_one_another()
    {
        // CHECKS F4 [M]: 144 and 288 a day are 1 and 2 in ten minutes; F5 [M]: 1 in five minutes is manageable, 1 in ten very likely acceptable.
        Assert.Equal((6.0, 12.0), (144 / 24.0, 288 / 24.0));
        Assert.Equal((LoadTargets.PerHour.Acceptable, LoadTargets.PerHour.Manageable), (6 * LoadTargets.PerTenMinutes.Acceptable, 6 * LoadTargets.PerTenMinutes.Manageable));
        Assert.InRange(LoadTargets.PerDay.Acceptable, 144, 150);
        Assert.InRange(LoadTargets.PerDay.Manageable, 288, 300);
        Assert.Equal((1.0, 2.0), (10 / 10.0 * LoadTargets.PerTenMinutes.Acceptable, 10 / 5.0 * LoadTargets.PerTenMinutes.Acceptable));
    }

    [Fact]
    public void Sixty_of_a_hundred_from_one_source_are_sixty_per_cent_and_it_is_the_worst()
    {
        Annunciation[] told =
        [
            .. Enumerable.Range(0, 60).Select(i => Told.At(i * TenMinutes, "p1")), .. Enumerable.Range(0, 40).Select(i => Told.At((i * TenMinutes) + 1, $"q{i:00}")),
        ];
        var load = told.Load();
        Assert.Equal(("p1", 60, 0.6), (load.Worst[0].Source.Device.Value, load.Worst[0].Count, load.Worst[0].Share));
        Assert.Equal((10, 41, "q00"), (load.Worst.Length, load.Sources, load.Worst[1].Source.Device.Value));
        Assert.Equal(0.69, load.WorstShare, 1e-9);
        Assert.Equal(told[59].Alert, load.Worst[0].NewestAlert);
    }

    [Fact]
    public void Moments_with_too_many_behind_them_are_a_share_of_all_time()
    {
        var load = Told.Each([.. Enumerable.Repeat(Hour, 31)]).Load();
        Assert.Equal(1 / 24.0, load.BusyHours, 1e-9);
        Assert.Equal(1 / 144.0, load.BusyTenMinutes, 1e-9);
        Assert.Equal(LoadVerdict.Demanding, load.Verdict);
        Assert.Equal(0, Told.Each([.. Enumerable.Repeat(Hour, 30)]).Load().BusyHours);
        Assert.Equal(0, Told.Each([.. Enumerable.Repeat(Hour, 10)]).Load().BusyTenMinutes);
    }

    [Fact]
    public void Priorities_are_told_as_shares_and_none_of_none_is_none()
    {
        var load = new[] { Told.At(0), Told.At(1), Told.At(2, priority: Priority.High), Told.At(3, priority: Priority.Critical) }.Load();
        Assert.Equal([0.5, 0, 0.25, 0.25], Enum.GetValues<Priority>().Select(load.ShareOf));
        Assert.Equal((0, 0.0, 0.0), (Array.Empty<Annunciation>().Load().MostInTenMinutes, Array.Empty<Annunciation>().Load().ShareOf(Priority.Low), Array.Empty<Annunciation>().Load().WorstShare));
    }

    [Fact]
    public void The_time_asked_for_holds_its_beginning_and_not_its_end() => Assert.Equal(1, Told.Each(-Tick, 0, Day).Load().Count);

    [Fact]
    public void No_time_at_all_has_no_load() => Assert.Throws<ArgumentException>(() => Array.Empty<Annunciation>().Load(days: 0));
}
