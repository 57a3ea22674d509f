using CsCheck;
using TankWatch.Core.Replaying;
using Xunit;

namespace TankWatch.Core.Tests.Replaying;

/// <summary>A result depends on the set of messages: not on their order, their number of arrivals, or the day it is made.</summary>
public sealed class ReplayOrderTests
{
    public static TheoryData<string> Systems() => [.. Recorded.Names];

    [Theory]
    [MemberData(nameof(Systems))]
    public void Two_replays_give_the_same_bytes(string name)
    {
        var recorded = Recorded.Of(name);
        Assert.Equal(Recorded.Json(recorded.Result), Recorded.Json(recorded.Run(recorded.Lines)));
    }

    [Theory]
    [InlineData("o08_supply_failure", 4)]
    [InlineData("o01_healthy_small", 4)]
    [InlineData("o10_short_cycling", 1)]
    [InlineData("a2_orifice", 4)]
    public void Any_order_and_any_repetition_of_the_lines_give_the_same_bytes(string name, int times)
    {
        // Longer shuffles than a link would make; links themselves are judged by receipt, which the lines carry.
        var recorded = Recorded.Of(name);
        var expected = Recorded.Json(recorded.Result);
        Gen.Shuffle(Enumerable.Range(0, recorded.Lines.Length).ToArray()).Select(Gen.Int[1, 40]).Sample(
            (order, every) =>
            {
                var lines = order.SelectMany(i => i % every == 0 ? new[] { recorded.Lines[i], recorded.Lines[i] } : [recorded.Lines[i]]);
                return Recorded.Json(recorded.Run(lines)) == expected;
            }, iter: times, threads: 1, print: _ => name);
    }

    [Fact]
    public void A_line_that_cannot_be_read_is_counted_and_the_rest_goes_on()
    {
        var recorded = Recorded.Of("a1_constant");
        string[] bad =
        [
            "{", "[]", "7", """{"topic":"tankwatch/v1/fu-0001/level"}""", """{"topic":3,"payload":{}}""", """{"topic":"tankwatch/v2/fu-0001/level","payload":{}}""",
            """{"topic":"tankwatch/v1/nobody/level","payload":{}}""", """{"received":"yesterday","topic":"tankwatch/v1/fu-0001/level","payload":{}}""",
            """{"received":"2024-01-01T00:00:00Z","topic":"tankwatch/v1/fu-0001/level","payload":{"tank":"roof","wet":[true]}}""",
            """{"topic":"tankwatch/v1/fu-0001/level","payload":{"tank":"\ud800"}}""",
        ];
        var recording = new Recording(recorded.Plan);
        for (var i = 0; i < recorded.Lines.Length; i++)
        {
            recording.Add(recorded.Lines[i]);
            if (i < bad.Length)
            {
                recording.Add(bad[i]);
                recording.Add("   ");
            }
        }

        Assert.Equal(bad.Length, recording.Refused.Count);
        Assert.Equal(2, recording.Refused[0].Line);
        Assert.Equal(5, recording.Refused[1].Line);
        var result = Replay.Run(recorded.Plan, recording) with { Refused = 0 };
        Assert.Equal(Recorded.Json(recorded.Result), Recorded.Json(result));
    }

    [Fact]
    public void Without_a_time_of_receipt_the_time_of_the_event_serves()
    {
        var plan = Plans.House();
        var recording = new Recording(plan);
        recording.Add("""{"topic":"tankwatch/v1/u1/level","payload":{"at":"2026-03-02T06:00:00+01:00","tank":"roof","wet":[true,true,false]}}""");
        Assert.Empty(recording.Refused);
        Assert.Equal(Scenario.TimeOf("05:00"), recording.Observations.Single().Stamp.At);
    }

    [Fact]
    public void An_empty_recording_is_a_result_of_nothing()
    {
        var result = Replay.Run(Plans.House(), new Recording(Plans.House()));
        Assert.Equal((null, null, 0), (result.From, result.To, result.Messages));
        Assert.Empty(result.Findings);
        Assert.Empty(result.Days);
    }
}
