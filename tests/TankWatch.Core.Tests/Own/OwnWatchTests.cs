using TankWatch.Core.Findings;
using TankWatch.Core.Own;
using Xunit;

namespace TankWatch.Core.Tests.Own;

public sealed class OwnWatchTests
{
    private static readonly DateTimeOffset Six = Scenario.TimeOf("06:00");

    [Fact]
    public void A_stage_that_is_late_for_two_minutes_is_a_fault_and_what_fails_after_it_is_the_same_fault()
    {
        OwnSign[] signs = [new("broker", Six, "refused"), new("mail", null, null), new("path", Six.AddSeconds(10), "late")];
        Assert.Empty(OwnWatch.Judge([], signs, Six.AddSeconds(119)));
        var found = Assert.Single(OwnWatch.Judge([], signs, Six.AddMinutes(5)));
        Assert.Equal((FindingKind.ServiceFault, "broker", Six, FindingScope.Link), (found.Kind, found.Device.Value, found.Since, found.Scope));
        Assert.Equal("It says: refused", found.Said().Evidence[0]);
        Assert.Same(found, Assert.Single(OwnWatch.Judge([found], signs, Six.AddMinutes(6))));
    }

    [Fact]
    public void It_is_over_when_its_stage_works_and_then_what_is_left_is_told()
    {
        OwnSign[] late = [new("broker", Six, "refused"), new("path", Six, "late")];
        var open = OwnWatch.Judge([], late, Six.AddMinutes(2));
        var next = OwnWatch.Judge(open, [late[0] with { LateSince = null }, late[1]], Six.AddMinutes(3));
        Assert.Equal([("broker", Six.AddMinutes(3)), ("path", (DateTimeOffset?)null)], next.Select(found => (found.Device.Value, found.ClearedAt)));
        Assert.Empty(OwnWatch.Judge([], [late[0] with { LateSince = null }], Six.AddHours(1)));
    }

    [Fact]
    public void Every_stage_has_its_sentence() => Assert.All(
        ["store", "broker", "mail", "sites", "path"],
        stage => Assert.StartsWith("This service itself", Assert.Single(OwnWatch.Judge([], [new(stage, Six, "x")], Six.AddHours(1))).Said().Summary, StringComparison.Ordinal));
}
