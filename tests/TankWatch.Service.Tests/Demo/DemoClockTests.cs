using Microsoft.Extensions.Time.Testing;
using TankWatch.Service.Demo;
using Xunit;

namespace TankWatch.Service.Tests.Demo;

public sealed class DemoClockTests
{
    private static readonly DateTimeOffset Present = new(2026, 3, 2, 6, 0, 0, TimeSpan.Zero);

    private readonly FakeTimeProvider wall = new(Present);

    [Fact]
    public void It_starts_at_the_present_and_runs_so_many_times_as_fast()
    {
        var clock = Begun(60);
        Assert.Equal(Present, clock.GetUtcNow());
        wall.Advance(TimeSpan.FromSeconds(2.5));
        Assert.Equal(new ClockReading(Present.AddSeconds(150), 60, true), clock.Read());
    }

    [Fact]
    public void Until_it_begins_it_creeps_at_whatever_speed()
    {
        var clock = new DemoClock(wall, 600);
        wall.Advance(TimeSpan.FromSeconds(30));
        Assert.Equal(Present.AddSeconds(0.3), clock.GetUtcNow());
        clock.SetSpeed(60);
        wall.Advance(TimeSpan.FromSeconds(30));
        Assert.Equal(new ClockReading(Present.AddSeconds(0.6), 60, false), clock.Read());
        clock.Begin();
        wall.Advance(TimeSpan.FromSeconds(1));
        Assert.Equal(Present.AddSeconds(60.6), clock.GetUtcNow());
    }

    [Fact]
    public void A_new_speed_goes_on_from_the_present_moment()
    {
        var clock = Begun(1);
        wall.Advance(TimeSpan.FromSeconds(10));
        clock.SetSpeed(600);
        Assert.Equal(new ClockReading(Present.AddSeconds(10), 600, true), clock.Read());
        wall.Advance(TimeSpan.FromSeconds(1));
        clock.SetSpeed(1.5);
        Assert.Equal(Present.AddSeconds(610), clock.GetUtcNow());
        wall.Advance(TimeSpan.FromSeconds(2));
        Assert.Equal(Present.AddSeconds(613), clock.GetUtcNow());
    }

    [Theory]
    [InlineData(0.99)]
    [InlineData(600.01)]
    [InlineData(0)]
    [InlineData(-1)]
    [InlineData(double.NaN)]
    [InlineData(double.PositiveInfinity)]
    public void A_speed_out_of_its_range_is_refused(double speed)
    {
        var clock = Begun(2);
        Assert.Throws<ArgumentOutOfRangeException>(() => clock.SetSpeed(speed));
        Assert.Throws<ArgumentOutOfRangeException>(() => new DemoClock(wall, speed));
        Assert.Equal(2, clock.Read().Speed);
    }

    [Theory]
    [InlineData("1", 1.0)]
    [InlineData("600", 600.0)]
    [InlineData("2.5", 2.5)]
    [InlineData("0.5", null)]
    [InlineData("601", null)]
    [InlineData("1e2", null)]
    [InlineData("2,5", null)]
    [InlineData("-5", null)]
    [InlineData("+5", null)]
    [InlineData(" 5", null)]
    [InlineData("NaN", null)]
    [InlineData("Infinity", null)]
    [InlineData("", null)]
    [InlineData(null, null)]
    public void A_speed_is_read_as_people_write_it(string? text, double? means) =>
        Assert.Equal(means, DemoClock.TryReadSpeed(text, out var speed) ? speed : null);

    [Fact]
    public void A_wait_is_as_much_shorter_on_the_wall()
    {
        var clock = Begun(10);
        var rings = 0;
        using var timer = clock.CreateTimer(_ => rings++, null, TimeSpan.FromSeconds(10), Timeout.InfiniteTimeSpan);
        wall.Advance(TimeSpan.FromMilliseconds(999));
        Assert.Equal(0, rings);
        wall.Advance(TimeSpan.FromMilliseconds(1));
        Assert.Equal(1, rings);
        wall.Advance(TimeSpan.FromHours(1));
        Assert.Equal(1, rings);
    }

    [Fact]
    public async Task Delays_time_limits_and_periodic_timers_follow_it()
    {
        var clock = Begun(100);
        var stop = TestContext.Current.CancellationToken;
        var delay = Task.Delay(TimeSpan.FromMinutes(5), clock, stop);
        using var limit = new CancellationTokenSource(TimeSpan.FromMinutes(4), clock);
        using var beat = new PeriodicTimer(TimeSpan.FromMinutes(3), clock);
        var tick = beat.WaitForNextTickAsync(stop);
        wall.Advance(TimeSpan.FromSeconds(1.8));
        Assert.True(await tick);
        Assert.False(limit.IsCancellationRequested || delay.IsCompleted);
        wall.Advance(TimeSpan.FromSeconds(0.6));
        Assert.True(limit.IsCancellationRequested);
        Assert.False(delay.IsCompleted);
        wall.Advance(TimeSpan.FromSeconds(0.6));
        await delay;
    }

    [Fact]
    public void A_period_keeps_its_step()
    {
        var clock = Begun(3);
        var rings = new List<DateTimeOffset>();
        using var timer = clock.CreateTimer(_ => rings.Add(clock.GetUtcNow()), null, TimeSpan.Zero, TimeSpan.FromSeconds(1));
        for (var i = 0; i < 3000; i++)
        {
            wall.Advance(TimeSpan.FromMilliseconds(1));
        }

        // A third of a second is no whole number of the wall's milliseconds, and that must not add up.
        Assert.InRange(rings.Count, 9, 10);
        Assert.All(rings.Skip(1).Select((at, i) => at - Present.AddSeconds(i + 1)), late => Assert.InRange(late, TimeSpan.Zero, TimeSpan.FromMilliseconds(6)));
    }

    [Fact]
    public void What_waits_is_set_anew_when_the_speed_changes()
    {
        var clock = Begun(1);
        var (once, each) = (0, 0);
        using var timer = clock.CreateTimer(_ => once++, null, TimeSpan.FromHours(1), Timeout.InfiniteTimeSpan);
        using var periodic = clock.CreateTimer(_ => each++, null, TimeSpan.FromMinutes(10), TimeSpan.FromMinutes(10));
        wall.Advance(TimeSpan.FromMinutes(5));
        clock.SetSpeed(60);
        wall.Advance(TimeSpan.FromSeconds(5));
        Assert.Equal((0, 1), (once, each));
        clock.SetSpeed(600);
        for (var i = 0; i < 5; i++)
        {
            wall.Advance(TimeSpan.FromSeconds(1));
        }

        Assert.Equal((1, 6), (once, each));
        clock.SetSpeed(1);
        wall.Advance(TimeSpan.FromMinutes(9));
        Assert.Equal(6, each);
        wall.Advance(TimeSpan.FromMinutes(1));
        Assert.Equal(7, each);
    }

    [Fact]
    public void What_was_set_before_it_begins_is_set_anew_when_it_does()
    {
        var clock = new DemoClock(wall, 10);
        var rings = 0;
        using var timer = clock.CreateTimer(_ => rings++, null, TimeSpan.FromSeconds(1), Timeout.InfiniteTimeSpan);
        wall.Advance(TimeSpan.FromSeconds(50));
        Assert.Equal(0, rings);
        clock.Begin();
        wall.Advance(TimeSpan.FromSeconds(0.05));
        Assert.Equal(1, rings);
    }

    [Fact]
    public void A_fast_clock_does_not_spin()
    {
        var clock = Begun(600);
        var rings = 0;
        using var timer = clock.CreateTimer(_ => rings++, null, TimeSpan.FromMilliseconds(1), TimeSpan.FromMilliseconds(1));
        for (var i = 0; i < 1000; i++)
        {
            wall.Advance(TimeSpan.FromMilliseconds(1));
        }

        Assert.InRange(rings, 1, 50);
        var before = rings;
        clock.SetSpeed(1);
        using var steady = clock.CreateTimer(_ => { }, null, TimeSpan.FromSeconds(1), TimeSpan.FromSeconds(1));
        wall.Advance(TimeSpan.FromMilliseconds(20));
        Assert.InRange(rings - before, 0, 1); // Rings that were left out are not made up for.
    }

    [Fact]
    public void A_wait_longer_than_the_walls_timers_take_is_taken_in_parts()
    {
        var clock = Begun(1);
        var rings = 0;
        using var timer = clock.CreateTimer(_ => rings++, null, TimeSpan.FromDays(60), Timeout.InfiniteTimeSpan);
        wall.Advance(TimeSpan.FromDays(59.9));
        Assert.Equal(0, rings);
        wall.Advance(TimeSpan.FromDays(0.1));
        Assert.Equal(1, rings);
    }

    [Fact]
    public async Task A_disposed_or_stopped_timer_is_quiet()
    {
        var clock = Begun(10);
        var rings = 0;
        var timer = clock.CreateTimer(_ => rings++, null, TimeSpan.FromSeconds(1), TimeSpan.FromSeconds(1));
        Assert.True(timer.Change(Timeout.InfiniteTimeSpan, Timeout.InfiniteTimeSpan));
        clock.SetSpeed(600);
        wall.Advance(TimeSpan.FromMinutes(1));
        Assert.True(timer.Change(TimeSpan.FromSeconds(1), TimeSpan.FromSeconds(1)));
        await timer.DisposeAsync();
        clock.SetSpeed(1);
        wall.Advance(TimeSpan.FromMinutes(1));
        Assert.False(timer.Change(TimeSpan.Zero, TimeSpan.FromSeconds(1)));
        wall.Advance(TimeSpan.FromMinutes(1));
        Assert.Equal(0, rings);
        Assert.Throws<ArgumentOutOfRangeException>(() => clock.CreateTimer(_ => { }, null, TimeSpan.FromSeconds(-2), TimeSpan.Zero));
    }

    [Fact]
    public void It_goes_no_further_than_it_is_allowed_and_catches_up_when_it_is()
    {
        var clock = new DemoClock(wall, 60);
        clock.Begin(TimeSpan.FromSeconds(4));
        wall.Advance(TimeSpan.FromSeconds(1));
        Assert.Equal(Present.AddSeconds(4), clock.GetUtcNow());
        Assert.True(clock.Allow(Present.AddSeconds(40)));
        Assert.Equal(Present.AddSeconds(40), clock.GetUtcNow());
        Assert.False(clock.Allow(Present.AddSeconds(100)));
        Assert.Equal(Present.AddSeconds(60), clock.GetUtcNow());
        Assert.False(clock.Allow(Present.AddSeconds(50))); // What was allowed stays so.
        wall.Advance(TimeSpan.FromSeconds(0.5));
        Assert.Equal(Present.AddSeconds(90), clock.GetUtcNow());
    }

    [Fact]
    public void Waits_go_on_while_it_is_held()
    {
        var clock = new DemoClock(wall, 10);
        clock.Begin(TimeSpan.FromSeconds(4));
        var rings = 0;
        using var timer = clock.CreateTimer(_ => rings++, null, TimeSpan.FromSeconds(10), Timeout.InfiniteTimeSpan);
        wall.Advance(TimeSpan.FromSeconds(1));
        Assert.Equal((1, Present.AddSeconds(4)), (rings, clock.GetUtcNow()));
    }

    [Fact]
    public void What_it_is_far_behind_is_left_out_and_so_is_all_of_it_at_a_new_speed()
    {
        var clock = new DemoClock(wall, 600);
        clock.Begin(TimeSpan.FromSeconds(4));
        var rings = 0;
        using var timer = clock.CreateTimer(_ => rings++, null, TimeSpan.FromHours(1), Timeout.InfiniteTimeSpan);
        wall.Advance(TimeSpan.FromSeconds(2));
        Assert.False(clock.Allow(Present.AddSeconds(5)));
        wall.Advance(TimeSpan.FromSeconds(0.5));
        Assert.True(clock.Allow(Present.AddSeconds(100)));
        clock.SetSpeed(1);
        Assert.Equal(Present.AddSeconds(100), clock.GetUtcNow());
        Assert.False(clock.Allow(Present.AddHours(2)));

        // 1200 s and 300 s of its hour are over, whatever the clock shows.
        wall.Advance(TimeSpan.FromSeconds(2099));
        Assert.Equal(0, rings);
        wall.Advance(TimeSpan.FromSeconds(1));
        Assert.Equal((1, Present.AddSeconds(2200)), (rings, clock.GetUtcNow()));
    }

    [Fact]
    public void Measuring_is_of_the_wall()
    {
        var clock = Begun(600);
        var began = clock.GetTimestamp();
        wall.Advance(TimeSpan.FromSeconds(1));
        Assert.Equal(TimeSpan.FromSeconds(1), clock.GetElapsedTime(began));
    }

    [Fact]
    public async Task It_never_runs_backwards_while_many_read_it_and_change_its_speed()
    {
        var clock = new DemoClock(TimeProvider.System, 1);
        clock.Begin();
        await Parallel.ForEachAsync(Enumerable.Range(0, 8), TestContext.Current.CancellationToken, (who, _) =>
        {
            var last = clock.GetUtcNow();
            for (var i = 0; i < 5000; i++)
            {
                if (who < 2 && i % 10 == 0)
                {
                    clock.SetSpeed(1 + (i % 600));
                }

                using var timer = clock.CreateTimer(_ => { }, null, TimeSpan.FromSeconds(i), TimeSpan.FromSeconds(1));
                var now = clock.GetUtcNow();
                Assert.True(now >= last, $"{now:O} after {last:O}");
                last = now;
            }

            return ValueTask.CompletedTask;
        });
    }

    private DemoClock Begun(double speed)
    {
        var clock = new DemoClock(wall, speed);
        clock.Begin();
        return clock;
    }
}
