using Xunit;

namespace TankWatch.Core.Tests.Findings;

/// <summary>The same days, with half of their messages late: the follower must come to the same findings, runs and days.</summary>
public sealed class FollowedRuleTests
{
    private static Scenario Bad() => Scenario.Of(Plans.House()).At("05:00").Mains(true).Tank("sump", "111").Tank("roof", "100").Stop()
        .At("06:00").Tank("roof", "000").At("06:20").Start().After(seconds: 5).Tank("roof", "100").At("07:00").Tank("roof", "110").At("07:30").Tank("roof", "111").At("07:40").Stop()
        .At("08:00").Tank("roof", "110").Tank("roof", "010").At("08:10").Tank("roof", "110").At("09:00").Tank("roof", "000").At("10:00").Tank("roof", "100")
        .Times(8, d => d.After(5).Start().After(2).Stop(cause: "under-voltage"))
        .Mains(false).After(40).Mains(true).Start(cause: "manual", mode: "manual").After(50).Stop(mode: "auto").At("23:50").Tank("roof", "000").Start();

    [Fact]
    public void Half_of_the_messages_late_change_nothing()
    {
        var (judged, followed) = (Bad().Until("1d 06:00"), Bad().FollowedUntil("1d 06:00"));
        Assert.True(judged.Kinds.Count() >= 8, string.Join(", ", judged.Kinds));
        Assert.Equal(judged.Json(), followed.Json());
    }
}
