using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Timelines;

/// <summary>What late data cost, and what goes on meanwhile.</summary>
public sealed class LateDataTests
{
    private static readonly SitePlan Plan = Plans.House();

    /// <summary>A word every ten seconds, the pump running and resting by turns.</summary>
    private static readonly Observation[] Day = [.. Enumerable.Range(0, 3000).Select(i =>
    {
        var at = Scenario.Midnight.AddSeconds(10 * i);
        return new PumpObservation(new(new("u1"), at, at, at, 1, i), 0, i / 60 % 2 == 1, PumpCause.Level, false, null, null, null);
    })];

    private sealed class CountingRecord : ISiteRecord
    {
        private readonly MemoryRecord record = new(Plan);

        public int Seen { get; private set; }

        public void Add(params IEnumerable<Observation> fresh) => record.Add(fresh);

        public IReadOnlyList<Observation> Read(Observation? after, DateTimeOffset from, int limit)
        {
            var page = record.Read(after, from, limit);
            Assert.InRange(page.Count, 0, limit);
            Seen += page.Count;
            return page;
        }

        public SiteState? StateBefore(Observation first) => record.StateBefore(first);
    }

    private static (SiteFollower Site, CountingRecord Record) After(int words, params int[] missing)
    {
        var (site, record) = (new SiteFollower(Plan), new CountingRecord());
        foreach (var word in Day.Take(words).Where((_, i) => !missing.Contains(i)))
        {
            record.Add(word);
            site.Take([word], record);
        }

        return (site, record);
    }

    private static SiteState InOrder(int words) => Day.Take(words).Aggregate(SiteState.Start(Plan), (state, word) => SiteStep.Judge(state, new Observed(word), Plan).Next);

    private static void SameState(SiteState expected, SiteState actual) => Assert.Equal(MemoryRecord.Bytes(expected, Plan), MemoryRecord.Bytes(actual, Plan));

    [Fact]
    public void A_word_that_others_overtook_by_seconds_goes_back_to_a_second_before_itself_at_most()
    {
        var (site, record) = (new SiteFollower(Plan), new CountingRecord());
        Observation[] burst = [.. Day.Take(200), .. Enumerable.Range(0, 10).Select(Burst)];
        foreach (var word in burst.Where((_, i) => i != 205))
        {
            record.Add(word);
            site.Take([word], record);
        }

        record.Add(burst[205]);
        var followed = site.Take([burst[205]], record);
        Assert.InRange(burst[205].Stamp.At - followed.RewoundTo!.Value, TimeSpan.Zero, TimeSpan.FromSeconds(1));
        Assert.InRange(record.Seen, 5, 8);
        Assert.False(site.NeedsRework);

        static Observation Burst(int i)
        {
            var at = Day[199].Stamp.At.AddSeconds(1 + (i * 0.3));
            return new LevelObservation(new(new("u1"), at, at, at, 1, 1000 + i), 1, i % 2);
        }
    }

    [Fact]
    public void A_word_that_is_minutes_late_costs_about_as_many_minutes()
    {
        var (site, record) = After(2000, missing: 1940);
        record.Add(Day[1940]);
        site.Take([Day[1940]], record);
        Assert.InRange(record.Seen, 60, 140);
        Assert.False(site.NeedsRework);
        SameState(InOrder(2000), site.State);
    }

    [Fact]
    public void While_a_long_way_back_is_walked_what_is_new_is_judged_at_once()
    {
        var (site, record) = After(2500, missing: 100);
        record.Add(Day[100]);
        var late = site.Take([Day[100]], record);
        Assert.Equal((null, true, Day[100].Stamp.At), (late.RewoundTo, site.NeedsRework, site.LateFrom));
        var slices = 0;
        for (var next = 2500; !site.Rework(record, 100, out var followed); next++, slices++)
        {
            Assert.Null(followed);
            record.Add(Day[next]);
            site.Take([Day[next]], record);
            Assert.Equal(Day[next], site.State.Last);
        }

        Assert.Equal(25, slices); // 2500 words and those that came meanwhile, a hundred at a time.
        Assert.Equal((false, null), (site.NeedsRework, site.LateFrom));
        SameState(InOrder(2525), site.State);
    }

    [Fact]
    public void The_walk_stops_before_what_the_owner_has_yet_to_give()
    {
        var (site, record) = After(2500, missing: 100);
        record.Add(Day[100]);
        site.Take([Day[100]], record);
        record.Add(Day[2500..2510]);
        Assert.True(site.Rework(record, 10_000, out _));
        SameState(InOrder(2500), site.State);
        Assert.Null(site.Take(Day[2500..2510], record).RewoundTo);
        SameState(InOrder(2510), site.State);
    }

    [Fact]
    public void A_late_word_before_the_place_of_the_walk_sends_it_back()
    {
        var (site, record) = After(2500, 100, 400);
        record.Add(Day[400]);
        site.Take([Day[400]], record);
        Assert.False(site.Rework(record, 1500, out _));
        record.Add(Day[100]);
        site.Take([Day[100]], record);
        Assert.Equal(Day[100].Stamp.At, site.LateFrom);
        Assert.False(site.Rework(record, 1500, out _));
        Assert.True(site.Rework(record, 1500, out var followed));
        Assert.True(followed.RewoundTo < Day[100].Stamp.At);
        SameState(InOrder(2500), site.State);
    }

    [Fact]
    public void Time_that_had_passed_has_passed_after_a_rework_too()
    {
        var (site, record) = After(2500, missing: 100);
        record.Add(Day[100]);
        site.Take([Day[100]], record);
        site.Tick(Day[2500].Stamp.At.AddHours(3));
        Assert.True(site.Rework(record, 10_000, out _));
        Assert.Equal(Day[2500].Stamp.At.AddHours(3).AddSeconds(-40), site.State.TickedTo); // The whole minute before.
    }

    [Fact]
    public void A_long_walk_leaves_states_worth_storing_at_least_an_hour_apart()
    {
        var (site, record) = (new SiteFollower(Plan), new CountingRecord());
        record.Add(Day);
        var kept = site.Take(Day, record).Kept;
        Assert.InRange(kept.Length, 3, 8);
        Assert.All(kept.Zip(kept.Skip(1)), pair => Assert.True(pair.Second.At - pair.First.At >= TimeSpan.FromHours(1)));
        Assert.True(site.State.At - kept[^1].At >= TimeSpan.FromHours(1));
    }
}
