using Microsoft.Extensions.Time.Testing;
using TankWatch.Core.Notifications;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

/// <summary>The wall clock is set while the service runs and while it does not; what is to happen after some time happens after that time.</summary>
public sealed class ClockTests
{
    private static readonly string Site = SampleSite.Json(
        contacts: """[ { "name": "Ada", "email": "ada@example.org" }, { "name": "Di", "email": "di@example.org", "role": "installer" } ]""");

    /// <summary>A wall clock that can be set, and a clock beside it that only counts.</summary>
    private sealed class SetClock : FakeTimeProvider
    {
        private TimeSpan set;

        public SetClock()
            : base(Rig.Noon)
        {
        }

        public override DateTimeOffset GetUtcNow() => base.GetUtcNow() + set;

        public override long GetTimestamp() => base.GetUtcNow().UtcTicks;

        public void Set(TimeSpan by) => set += by;
    }

    [Theory]
    [InlineData(1, false)]
    [InlineData(-1, false)]
    [InlineData(24, false)]
    [InlineData(-24, false)]
    [InlineData(1, true)]
    [InlineData(-24, true)]
    public async Task An_escalation_comes_after_its_time_when_the_clock_is_set(int hours, bool whileDown)
    {
        var clock = new SetClock();
        await using var rig = Rig.New(clock);
        Assert.Null(rig.Put(Site));
        await rig.StartAsync();
        await rig.SendAsync("supply", SampleSite.Supply(clock.GetUtcNow(), mains: false, 1));
        await rig.PassAsync(TimeSpan.FromMinutes(2), TimeSpan.FromSeconds(1));
        var told = Assert.Single(rig.Ledger.ListOutbox(null, 10));
        Assert.Equal((NotifyReason.Opened, "ada@example.org"), (told.Letter.Notification.Reason, told.Letter.Notification.To.Email));
        var opened = Elapsed(clock) - (clock.GetUtcNow() - told.CreatedAt);
        await rig.PassAsync(TimeSpan.FromMinutes(100), TimeSpan.FromSeconds(30));
        var (running, restarted) = (rig, (Rig?)null);
        if (whileDown)
        {
            await rig.StopAsync();
            clock.Set(TimeSpan.FromHours(hours));
            clock.Advance(TimeSpan.FromMinutes(20));
            running = restarted = rig.Again();
            await restarted.StartAsync();
        }
        else
        {
            clock.Set(TimeSpan.FromHours(hours));
        }

        await using (restarted)
        {
            TimeSpan? escalated = null;
            for (var i = 0; i < 4 * 60 * 60 && escalated is null; i++)
            {
                var isNear = (Elapsed(clock) - opened - TimeSpan.FromHours(4)).Duration() < TimeSpan.FromMinutes(2);
                await running.PassAsync(TimeSpan.FromSeconds(isNear ? 1 : 60), TimeSpan.FromSeconds(isNear ? 1 : 60));
                escalated = running.Ledger.ListOutbox(null, 1)[0].Letter.Notification.Reason == NotifyReason.Escalated ? Elapsed(clock) : null;
            }

            Assert.InRange((escalated!.Value - opened - TimeSpan.FromHours(4)).TotalSeconds, -5, 5); // Medium: four hours.
            var letters = running.Ledger.ListOutbox(null, 10);
            Assert.Equal(["di@example.org", "ada@example.org"], letters.Select(letter => letter.Letter.Notification.To.Email));
        }
    }

    private static TimeSpan Elapsed(TimeProvider clock) => clock.GetElapsedTime(0);
}
