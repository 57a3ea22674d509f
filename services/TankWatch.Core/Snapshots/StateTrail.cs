using TankWatch.Core.Observations;

namespace TankWatch.Core.Snapshots;

/// <summary>
/// The states a site came through lately: many of the last seconds, so that a word that others overtook goes back to little before
/// itself; fewer of the last hours. Older ones are in the durable record.
/// </summary>
/// <remarks>
/// States are immutable and share what did not change between them, so one more costs what changed. A flood of messages leaves no
/// more of them than a brook: what it leaves is what the collector of garbage has to carry along.
/// </remarks>
internal sealed class StateTrail
{
    private static readonly TimeSpan Finest = TimeSpan.FromSeconds(1);
    private static readonly TimeSpan Window = TimeSpan.FromSeconds(5);
    private static readonly TimeSpan Reach = TimeSpan.FromHours(2);

    private readonly List<SiteState> states = [];

    /// <param name="state">Newer than all before. One that only time moved on is left out: the one before it serves as well.</param>
    public void Add(SiteState state)
    {
        if (state.Last is null || (states.Count > 0 && ReferenceEquals(states[^1].Last, state.Last)))
        {
            return;
        }

        if (states.Count > 1 && state.At - states[^2].At < Finest)
        {
            states[^1] = state;
            return;
        }

        states.Add(state);
        Trim(state.At);
    }

    /// <summary>Lets go of what is too old or too close together.</summary>
    public void Trim(DateTimeOffset now)
    {
        var tooOld = states.FindIndex(state => now - state.At <= Reach);
        states.RemoveRange(0, tooOld < 0 ? states.Count : tooOld);
        var settled = states.FindIndex(state => now - state.At <= Window);
        SnapshotSpacing.Thin(states, static state => state.At, now, TimeSpan.FromMinutes(1), settled < 0 ? null : settled);
    }

    /// <summary>Lets go of all states that have passed the observation.</summary>
    /// <returns>The newest left; null when none is.</returns>
    public SiteState? GoBackBefore(Observation observation)
    {
        var passed = states.FindIndex(state => !state.IsNewer(observation));
        states.RemoveRange(passed < 0 ? states.Count : passed, passed < 0 ? 0 : states.Count - passed);
        return states.Count > 0 ? states[^1] : null;
    }
}
