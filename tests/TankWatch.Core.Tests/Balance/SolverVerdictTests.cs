using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Tests.Replaying;
using Xunit;

namespace TankWatch.Core.Tests.Balance;

/// <summary>
/// CHECKS A1 [V]: the verdicts on the four runs of an independent solver. 48 hours are too short to learn what is normal, and a fault needs
/// some days to be told from a whim. So it is asked like this: A's two days, whose pattern of use repeats, are played over and over as the normal life of
/// the building, and then B, C or D as often as is stated. A day of silence lies between two plays, since each begins with
/// another content than the one before ended with.
/// </summary>
public sealed class SolverVerdictTests
{
    private const int NormalPlays = 8;
    private static readonly TimeSpan Apart = TimeSpan.FromDays(3);

    private static Outcome Lived(params string[] runs)
    {
        var seen = new List<Observation>();
        for (var play = 0; play < runs.Length; play++)
        {
            foreach (var observation in SolverTests.Played(runs[play]).At("1d 23:59").Observations)
            {
                var stamp = observation.Stamp;
                var at = stamp.At + (play * Apart);
                seen.Add(observation with { Stamp = stamp with { At = at, ReceivedAt = at, ClaimedAt = at, Seq = seen.Count + 1 } });
            }
        }

        return Outcome.Of(SolverTests.Plan, seen, seen[^1].Stamp.At);
    }

    private static string[] Normal => [.. Enumerable.Repeat("A", NormalPlays)];

    private static DateTimeOffset Onset => Scenario.Midnight + (NormalPlays * Apart);

    [Fact]
    public void A_raises_nothing_however_often_it_is_played() => Assert.Empty(Lived([.. Normal, .. Normal]).Findings);

    [Fact]
    public void B_is_a_weak_pump()
    {
        var found = Verdict("B");
        Assert.Equal(FindingKind.WeakPump, found.Kind);
        Assert.InRange(33.25, found.Estimate!.Size.Low, found.Estimate.Size.High); // 6949.9 L in 12542 s
    }

    [Fact]
    public void C_is_a_leak_of_its_size()
    {
        var found = Verdict("C");
        Assert.Equal(FindingKind.Leak, found.Kind);
        Assert.InRange(60.0, found.Estimate!.Size.Low, found.Estimate.Size.High);
    }

    [Fact]
    public void D_is_heavy_use_of_its_size()
    {
        var found = Verdict("D");
        Assert.Equal(FindingKind.HeavyUse, found.Kind);
        Assert.InRange(60.0, found.Estimate!.Size.Low, found.Estimate.Size.High);
    }

    /// <summary>The one thing found, but for a fill that is slow whatever the cause.</summary>
    private static Finding Verdict(string run)
    {
        var outcome = Lived([.. Normal, run, run]);
        var found = outcome.Findings.Where(f => f.Kind is not FindingKind.SlowFill).ToList();
        Assert.True(found.Count == 1, string.Join("; ", outcome.Findings.Select(f => $"{f.Kind} {f.RaisedAt:u} {f.Estimate}")));
        Assert.InRange(found[0].Since, Onset - Apart, Onset + Apart);
        Assert.True(found[0].RaisedAt >= Onset);
        return found[0];
    }
}
