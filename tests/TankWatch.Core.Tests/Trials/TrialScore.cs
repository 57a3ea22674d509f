using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Simulator;
using TankWatch.Simulator.Trials;

namespace TankWatch.Core.Tests.Trials;

/// <param name="Event">A fault that a finding should name.</param>
/// <param name="Delay">From its onset to the first such finding; null when none came.</param>
internal sealed record FaultScore(TrialEvent Event, TimeSpan? Delay);

/// <param name="Name">The leading cause of a finding.</param>
/// <param name="Said">Its probability.</param>
/// <param name="True">Whether that was so.</param>
internal readonly record struct CauseScore(string Name, double Said, bool True);

/// <param name="Error">Of the value, in percent of the truth.</param>
/// <param name="Within">Whether the interval holds the truth; null where it is the sum of several tanks' intervals, which holds it too often.</param>
internal readonly record struct FigureScore(double Error, bool? Within);

/// <summary>What the judgement made of one trial, by the rules with which recorded systems are scored too.</summary>
internal sealed record TrialScore(
    Trial Trial,
    ImmutableArray<FaultScore> Faults,
    ImmutableArray<Finding> FalseAlarms,
    ImmutableArray<CauseScore> Causes,
    int Undetermined,
    ImmutableArray<FigureScore> Delivery,
    ImmutableArray<double> VolumeErrors,
    ImmutableArray<FigureScore> Use,
    ImmutableArray<FigureScore> Leak,
    int StartsWrong)
{
    private const int LastDays = 7;
    private const double HeavyDay = 1.2; // Of the days before: use that is heavy although nobody arranged it.

    /// <summary>A finding may be raised this long after a passing fault has ended.</summary>
    private static readonly TimeSpan Late = TimeSpan.FromDays(1);

    /// <summary>And is neither a false alarm nor a hit until this long after.</summary>
    private static readonly TimeSpan After = TimeSpan.FromDays(3);

    public static TrialScore Of(Trial trial)
    {
        var record = trial.Run();
        var recording = new Recording(trial.Plan);
        foreach (var message in record.Messages)
        {
            recording.Add(Recordings.LineOf(message));
        }

        return Of(trial, record, Replay.Run(trial.Plan, recording));
    }

    public static TrialScore Of(Trial trial, TrialRecord record, ReplayResult result)
    {
        var faults = trial.Events.Where(e => TrialLabels.Accepted(e.Label).Count > 0)
            .Select(e => new FaultScore(e, Earliest(result.Findings.Where(f => Hits(trial, e, f)))?.RaisedAt - e.Onset));
        var wrong = result.Findings.Where(f => f.Kind is not FindingKind.HeavyUse && !trial.Events.Any(e => Excuses(trial, record, e, f)));
        var leading = result.Findings.Where(f => !f.Causes.IsEmpty).Select(f => (Finding: f, Cause: f.Causes.MaxBy(c => c.Probability)!)).ToList();
        var days = DaysOf(record, result);
        return new(
            trial, [.. faults], [.. wrong],
            [.. leading.Where(l => l.Cause.Name is not "undetermined").Select(l => new CauseScore(l.Cause.Name, l.Cause.Probability, IsSo(trial, record, l.Finding, l.Cause.Name)))],
            leading.Count(l => l.Cause.Name is "undetermined"),
            [.. days.SelectMany(d => DeliveryOf(d.Real, d.Said.Pumps[0]))],
            [.. days.Where(d => d.Real.Pumped > 0).SelectMany(d => d.Said.Pumps[0].DeliveredLitres is { } litres ? [Error(litres, d.Real.Pumped)] : Array.Empty<double>())],
            [.. days.SelectMany(d => UseOf(d.Real, d.Said.Tanks))],
            [.. LeakOf(record, days).TakeLast(LastDays)],
            days.Sum(d => Math.Abs(d.Said.Pumps[0].Starts - d.Real.PumpRuns)));
    }

    private static Finding? Earliest(IEnumerable<Finding> findings) => findings.MinBy(f => f.RaisedAt);

    private static bool Hits(Trial trial, TrialEvent done, Finding finding) =>
        TrialLabels.Accepted(done.Label).Contains(finding.Kind) && IsDuring(done, finding.RaisedAt, Late) && IsAt(trial, done, finding);

    private static bool Excuses(Trial trial, TrialRecord record, TrialEvent done, Finding finding) => IsDuring(done, finding.RaisedAt, After)
        && (TrialLabels.IsTolerated(done.Label, finding.Kind)
            || (TrialLabels.Accepted(done.Label).Contains(finding.Kind) && IsAt(trial, done, finding))
            || (done.Label is "leak" && TrialLabels.IsWantOfWater(finding.Kind) && record.Days.Any(d => d.DryCutOuts > 0)));

    private static bool IsDuring(TrialEvent done, DateTimeOffset at, TimeSpan grace) => at >= done.Onset && (done.End is not { } end || at - end < grace);

    /// <summary>The tank matters where there are several; a fault of the pump or the riser names none.</summary>
    private static bool IsAt(Trial trial, TrialEvent done, Finding finding) =>
        done.Device is not { } device || trial.Plan.Tanks.Count(t => t.Role is TankRole.Overhead) == 1 || finding.Device.Value == device;

    private static bool IsSo(Trial trial, TrialRecord record, Finding finding, string cause) =>
        trial.Events.Any(e => TrialLabels.Causes(e.Label, cause) && IsDuring(e, finding.RaisedAt, Late)) || (cause is "heavy-use" && IsHeavy(trial, record, finding));

    /// <summary>Whether the day on which it was said, or the day before, really used more than the fortnight before.</summary>
    private static bool IsHeavy(Trial trial, TrialRecord record, Finding finding)
    {
        var day = (int)(finding.RaisedAt - trial.Options.Start).TotalDays;
        var usual = record.Days.Take(Math.Max(1, day - 1)).TakeLast(14).Average(d => d.Demand);
        return record.Days.Take(day + 1).TakeLast(2).Any(d => d.Demand > HeavyDay * usual);
    }

    private static List<(TrialDay Real, SiteDay Said)> DaysOf(TrialRecord record, ReplayResult result) =>
        [.. record.Days.Join(result.Days.Where(d => d.Complete), d => d.Date, d => d.Date, (real, said) => (real, said))];

    private static IEnumerable<FigureScore> DeliveryOf(TrialDay real, PumpDay said) =>
        said.LitresPerMinute is { } delivery && real.MeanDelivery is { } truth ? [Score(delivery, truth)] : [];

    /// <summary>All that left the tanks, whichever way.</summary>
    private static IEnumerable<FigureScore> UseOf(TrialDay real, ImmutableArray<TankDay> tanks) =>
        Sum(tanks, t => t.UsedLitres) is not { } used || real.Demand == 0 ? []
            : Score(used, real.Demand + real.Leak + real.BackDrain) is var score && tanks.Length == 1 ? [score] : [score with { Within = null }];

    /// <summary>Days on which the leak was about as large as it ever was.</summary>
    private static IEnumerable<FigureScore> LeakOf(TrialRecord record, IEnumerable<(TrialDay Real, SiteDay Said)> days)
    {
        var most = record.Days.Max(d => d.Leak);
        return days.Where(d => d.Real.Leak > 0 && d.Real.Leak >= 0.95 * most)
            .SelectMany(d => Sum(d.Said.Tanks, t => t.LeakLitresPerHour) is { } leak ? [Score(leak, d.Real.Leak / 24)] : Array.Empty<FigureScore>());
    }

    private static Estimate? Sum(ImmutableArray<TankDay> tanks, Func<TankDay, Estimate?> of)
    {
        var known = tanks.Select(of).OfType<Estimate>().ToList();
        return known.Count == tanks.Length ? known.Aggregate(Estimate.Add) : null;
    }

    private static FigureScore Score(Estimate said, double truth) => new(Error(said, truth), said.Low <= truth && truth <= said.High);

    private static double Error(Estimate said, double truth) => 100 * Math.Abs((said.Value / truth) - 1);
}
