using TankWatch.Service.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

public sealed class CatchUpTests
{
    private static readonly DateTimeOffset Start = Rig.Noon;

    [Fact]
    public void Until_a_broker_delivers_a_backlog_may_be_to_come_but_not_for_ever()
    {
        var catchUp = new CatchUp(Start);
        Assert.False(catchUp.IsOver(Start.AddMinutes(29)));
        Assert.True(catchUp.IsOver(Start.AddMinutes(30)));
    }

    [Fact]
    public void Ten_seconds_without_a_late_message_end_it()
    {
        var catchUp = new CatchUp(Start);
        catchUp.Listening(Start.AddSeconds(5));
        Assert.False(catchUp.IsOver(Start.AddSeconds(14)));
        Assert.True(catchUp.IsOver(Start.AddSeconds(15)));
        catchUp.Heard(at: Start.AddHours(-3), now: Start.AddSeconds(20));
        catchUp.Heard(at: Start.AddSeconds(25), now: Start.AddSeconds(26));
        Assert.False(catchUp.IsOver(Start.AddSeconds(29)));
        Assert.True(catchUp.IsOver(Start.AddSeconds(30)));
    }

    [Fact]
    public void A_clock_that_is_slow_for_ever_keeps_people_waiting_half_an_hour_at_most()
    {
        var catchUp = new CatchUp(Start);
        catchUp.Listening(Start);
        for (var second = 0; second <= 3600; second += 5)
        {
            var now = Start.AddSeconds(second);
            catchUp.Heard(now.AddMinutes(-10), now);
            Assert.Equal(second >= 1800, catchUp.IsOver(now));
        }
    }
}
