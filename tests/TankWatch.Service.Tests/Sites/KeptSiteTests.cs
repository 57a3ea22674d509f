using System.Text;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;
using TankWatch.Service.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

public sealed class KeptSiteTests
{
    private static readonly DateTimeOffset Start = Rig.Noon;

    /// <summary>A minute's messages wait in the broker: judged in order while the site's time stays with them, late once it has passed them.</summary>
    [Theory]
    [InlineData(2, false)]
    [InlineData(60, true)]
    public async Task Messages_that_wait_are_in_order_as_long_as_time_does_not_pass_them(int frontier, bool isLate)
    {
        await using var rig = Rig.New();
        var plan = SampleSite.Plan(SampleSite.Json());
        var site = new KeptSite(plan, rig.Series, rig.Ledger, null, Start);
        site.Build(Start);
        site.Tick(Start, Start, listening: Start);
        site.Tick(Start.AddMinutes(1), Start, listening: Start); // Nothing late for a minute: what the broker kept is in.
        Assert.Null(site.Take([Level(plan, 0, 1)], Start.AddMinutes(1), Start).RunsAfter);
        site.Tick(Start.AddMinutes(2), Start.AddSeconds(2 * frontier), listening: Start);
        Assert.Equal(isLate, site.Take([Level(plan, 10, 2)], Start.AddMinutes(2), Start).RunsAfter is not null);
    }

    private static Fresh Level(Core.Sites.SitePlan plan, int second, long seq)
    {
        var json = SampleSite.Level(Start.AddSeconds(second), "roof", "110", seq);
        var decoded = FieldMessageDecoder.Decode(plan, plan.FindUnit(new UnitId("fu-1"))!, MessageKind.Level, Encoding.UTF8.GetBytes(json), Start.AddSeconds(second + 60));
        return new(Assert.IsType<Decoded.Accepted>(Assert.Single(decoded)).Seen, Retained: false);
    }
}
