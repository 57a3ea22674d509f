using System.Buffers;
using TankWatch.Core.Observations;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Tests.Replaying;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>A site goes on from its bytes in the middle of learning as if nothing had been, and what it learnt stays small.</summary>
public sealed class LearningSnapshotTests
{
    private const int MostBytes = 16 * 1024;

    [Theory]
    [InlineData("o03b_leak_60")] // Finds a leak.
    [InlineData("o05_pump_decline")] // A delivery with a trend.
    [InlineData("o07_backdrain")]
    [InlineData("o09_guests")] // More use.
    public void State_and_figures_go_on_byte_by_byte_from_any_stage_of_learning(string name)
    {
        var plan = Recorded.Of(name).Plan;
        var ordered = Ordered(name);

        // Among the first passages; with a filter and no onsets; with onsets; with all found.
        int[] stored = [.. new[] { 0.01, 0.1, 0.5, 0.9 }.Select(share => (int)(share * ordered.Count))];
        var (through, restored, stages) = (SiteState.Start(plan), SiteState.Start(plan), new HashSet<string>());
        var (told, toldAgain) = (new List<Judged>(), new List<Judged>());
        for (var i = 0; i < ordered.Count; i++)
        {
            var (one, other) = (SiteStep.Judge(through, new Observed(ordered[i]), plan), SiteStep.Judge(restored, new Observed(ordered[i]), plan));
            (through, restored) = (one.Next, other.Next);
            told.Add(one);
            toldAgain.Add(other);
            if (stored.Contains(i))
            {
                var bytes = Bytes(through, plan);
                Assert.Equal(bytes, Bytes(restored, plan));
                restored = SiteStateCodec.Read(bytes, plan)!;
                stages.Add(Stage(restored, plan));
                Assert.InRange(bytes.Length - Bytes(WithoutBalance(through), plan).Length, 0, MostBytes);
            }
        }

        Assert.True(stages.Count >= 3, string.Join(", ", stages));
        Assert.Equal(Bytes(through, plan), Bytes(restored, plan));
        Assert.Equal(Json(plan, told), Json(plan, toldAgain));
        Assert.InRange(Bytes(through, plan).Length - Bytes(WithoutBalance(through), plan).Length, 1000, MostBytes);
    }

    private static string Stage(SiteState state, SitePlan plan) => state.Timeline.Tanks[plan.FindTank("roof")!.Index].Balance switch
    {
        null => "nothing",
        { Filter: null } => "first passages",
        { Onsets.IsEmpty: true, Outflow: null, Delivery: null, Use: null } => "learning",
        { Outflow: null, Delivery: null, Use: null } => "watching",
        _ => "found",
    };

    private static SiteState WithoutBalance(SiteState state) =>
        state with { Timeline = state.Timeline with { Tanks = [.. state.Timeline.Tanks.Select(tank => tank with { Balance = null })] } };

    private static List<Observation> Ordered(string name)
    {
        var recording = new Recording(Recorded.Of(name).Plan);
        foreach (var line in Recorded.Of(name).Lines)
        {
            recording.Add(line);
        }

        return [.. recording.Observations.Order(Observation.Order)];
    }

    private static byte[] Bytes(SiteState state, SitePlan plan)
    {
        var output = new ArrayBufferWriter<byte>();
        SiteStateCodec.Write(state, plan, output);
        return output.WrittenSpan.ToArray();
    }

    private static string Json(SitePlan plan, List<Judged> told) => Outcome.Of(
        plan, told.SelectMany(j => j.Findings), told.SelectMany(j => j.Runs), told.SelectMany(j => j.Days).GroupBy(d => d.Date).Select(g => g.Last()), told[^1].Next).Json();
}
