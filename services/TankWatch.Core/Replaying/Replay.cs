using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Replaying;

/// <summary>All that a recording tells of its site.</summary>
/// <param name="Plan">The site.</param>
/// <param name="From">Time of the first observation in order; null when there is none.</param>
/// <param name="To">Time of the last.</param>
/// <param name="Messages">Distinct messages taken.</param>
/// <param name="Refused">Lines or elements that could not be read.</param>
/// <param name="Findings">In order of time, device, kind.</param>
/// <param name="Runs">In order of time, device.</param>
/// <param name="Days">In order of date.</param>
public sealed record ReplayResult(
    SitePlan Plan, DateTimeOffset? From, DateTimeOffset? To, int Messages, int Refused,
    ImmutableArray<Finding> Findings, ImmutableArray<PumpRun> Runs, ImmutableArray<SiteDay> Days);

/// <summary>Runs the live rules over a recording. The result depends on the set of its messages alone.</summary>
public static class Replay
{
    private static readonly IComparer<Observation> ByReceipt = Comparer<Observation>.Create(static (a, b) =>
        a.Stamp.ReceivedAt.CompareTo(b.Stamp.ReceivedAt) is not 0 and var byReceipt ? byReceipt : Observation.Order.Compare(a, b));

    /// <param name="plan">The site.</param>
    /// <param name="recording">Fully read.</param>
    /// <param name="progress">Told how many observations are done; null for none.</param>
    public static ReplayResult Run(SitePlan plan, Recording recording, Action<int>? progress = null)
    {
        var ordered = InOrder(recording.Observations, Observation.Order);
        var state = SiteState.Start(plan);
        var findings = new Dictionary<(FindingKind, DeviceId, DateTimeOffset), Finding>();
        var (runs, days) = (new List<PumpRun>(), new SortedDictionary<DateOnly, SiteDay>());
        for (var i = 0; i < ordered.Count; i++)
        {
            var judged = SiteStep.Judge(state, new Observed(ordered[i]), plan);
            state = judged.Next;
            Keep(findings, judged.Findings);
            foreach (var run in judged.Runs)
            {
                runs.Add(run);
            }

            foreach (var day in judged.Days)
            {
                days[day.Date] = day;
            }

            progress?.Invoke(i + 1);
        }

        if (state is { Last: { } last, Day: { } open })
        {
            runs.AddRange(StillRunning(state, plan));
            days[open.Date] = open.UpTo(last.Stamp.At, state.Timeline, plan);
        }

        FollowLinks(plan, recording.Observations, findings);
        return new(
            plan, ordered.Count > 0 ? ordered[0].Stamp.At : null, ordered.Count > 0 ? ordered[^1].Stamp.At : null,
            ordered.Count, recording.Refused.Count,
            [.. findings.Values.Order(Comparer<Finding>.Create(Finding.Compare))],
            [.. runs.OrderBy(r => r.StartedAt).ThenBy(r => r.Pump.Value, StringComparer.Ordinal)], [.. days.Values]);
    }

    /// <summary>Most recordings are in order as they are, and looking is many times cheaper than sorting.</summary>
    private static IReadOnlyList<Observation> InOrder(IReadOnlyList<Observation> observations, IComparer<Observation> order)
    {
        for (var i = 1; i < observations.Count; i++)
        {
            if (order.Compare(observations[i - 1], observations[i]) > 0)
            {
                return [.. observations.Order(order)];
            }
        }

        return observations;
    }

    private static IEnumerable<PumpRun> StillRunning(SiteState state, SitePlan plan) =>
        state.Timeline.Pumps
            .Select((pump, i) => pump.Run is not { } run ? null
                : new PumpRun(plan.Pumps[i].Id, run.StartedAt, null, run.Cause, null, run.Manual, false, null, null))
            .OfType<PumpRun>();

    /// <summary>Silence is judged by receipts, in their order; a recording is no retained delivery.</summary>
    private static void FollowLinks(
        SitePlan plan, IReadOnlyList<Observation> observations, Dictionary<(FindingKind, DeviceId, DateTimeOffset), Finding> findings)
    {
        LinkState? links = null;
        foreach (var observation in InOrder(observations, ByReceipt))
        {
            links ??= LinkState.Start(plan, observation.Stamp.ReceivedAt);
            var unit = plan.FindUnit(observation.Stamp.Unit)!;
            (links, var changes) = LinkStep.Heard(links, unit.Index, observation, retained: false, plan);
            Keep(findings, changes.Findings);
        }
    }

    private static void Keep(Dictionary<(FindingKind, DeviceId, DateTimeOffset), Finding> findings, ImmutableArray<Finding> changed)
    {
        foreach (var finding in changed)
        {
            findings[(finding.Kind, finding.Device, finding.RaisedAt)] = finding;
        }
    }
}
