using System.Collections.Immutable;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Findings.Rules;

/// <summary>
/// More automatic starts in any sliding hour than the motor stands, or runs shorter than it needs. Manual runs and top-ups never count.
/// </summary>
/// <remarks>
/// The fastest cycle that water alone can cause, with a demand anywhere between nothing and the delivery Q, lasts 4V/Q for a band of V
/// between the probes (wet-well design texts: Sanks; Metcalf &amp; Eddy; from memory; it follows from T = V/(Q − q) + V/q at q = Q/2). More starts per hour than
/// Q/(4V) are therefore the control's doing, not the water's; fewer mean that the probes are too close for this motor.
/// </remarks>
internal sealed class ShortCycling : Rule
{
    private static readonly TimeSpan Window = TimeSpan.FromMinutes(60);
    // The count of starts and the geometry tell causes apart, as far as the site file and the probes can be believed: nine times in ten.
    private const double Told = 0.9;
    private const double ClearShare = 0.75;
    private const double ClearRunRatio = 4.0 / 3.0;

    public override FindingKind Kind => FindingKind.ShortCycling;
    public override RuleScope Scope => RuleScope.Pump;
    public override Priority Priority => Priority.High;
    public override TimeSpan ClearAfter => TimeSpan.FromMinutes(60);

    public override Verdict Judge(in RuleContext context, int device)
    {
        var (plan, pump) = (context.Plan.Pumps[device], context.Timeline.Pumps[device]);
        var starts = pump.AutomaticStarts.CountWithin(Window, context.Now);
        var tooMany = starts > plan.MaxStartsPerHour;
        var median = MedianRun(pump);
        var tooShort = median < plan.MinRun.TotalSeconds;
        var oldestLeaves = starts > 0 ? pump.AutomaticStarts.Newest(starts) + Window : null;
        if (tooMany || tooShort)
        {
            DateTimeOffset? firstTooMany = tooMany ? pump.AutomaticStarts.Newest((int)Math.Floor(plan.MaxStartsPerHour) + 1) : null;
            DateTimeOffset? firstTooShort = tooShort ? pump.TopRuns[0].StartedAt : null;
            return Verdict.Holds(Moments.Earlier(firstTooMany, firstTooShort), oldestLeaves);
        }

        var isCalm = starts <= plan.MaxStartsPerHour * ClearShare && (median is null || median > plan.MinRun.TotalSeconds * ClearRunRatio);
        return isCalm ? Verdict.Clear : Verdict.Between(oldestLeaves);
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var (plan, pump) = (context.Plan.Pumps[device], context.Timeline.Pumps[device]);
        var starts = pump.AutomaticStarts.CountWithin(Window, context.Now);
        var limit = WaterLimit(context, plan);
        var cause = CauseOf(context, plan, pump, starts, limit);
        var evidence = ImmutableArray.CreateBuilder<Phrase>();
        evidence.Add(Phrase.Of(
            plan.MaxStartsAssumed ? "short-cycling.evidence.starts.assumed" : "short-cycling.evidence.starts",
            ("starts", starts), ("now", context.Clock(context.Now)), ("limit", Asking.Plain(plan.MaxStartsPerHour))));
        if (MedianRun(pump) is { } median)
        {
            evidence.Add(Phrase.Of(
                plan.MinRunAssumed ? "short-cycling.evidence.runs.assumed" : "short-cycling.evidence.runs",
                ("count", pump.TopRuns.Length), ("median", Asking.Lasting(median)), ("needed", Asking.Lasting(plan.MinRun))));
        }

        if (limit is { } most)
        {
            evidence.Add(Phrase.Of("short-cycling.evidence.water", ("most", Asking.Plain(most))));
        }

        var text = new FindingText(Phrase.Of(Summary(cause), ("pump", plan.Id.Value)), evidence.ToImmutable(), Advice(cause), Cautions.PumpAndTank);
        return new(text, cause == Asking.Undetermined ? [new(Asking.Undetermined, 1)] : [new(cause, Told), new(Asking.Undetermined, 1 - Told)]);
    }

    /// <returns>Seconds; null before six runs are known.</returns>
    private static double? MedianRun(PumpTimeline pump)
    {
        if (pump.TopRuns.Length < PumpStep.TopRunsKept)
        {
            return null;
        }

        Span<float> sorted = stackalloc float[PumpStep.TopRunsKept];
        for (var i = 0; i < sorted.Length; i++)
        {
            sorted[i] = pump.TopRuns[i].Seconds;
        }

        sorted.Sort();
        return (sorted[2] + (double)sorted[3]) / 2;
    }

    /// <returns>Starts per hour that water alone can cause; null when the delivery is unknown.</returns>
    private static double? WaterLimit(in RuleContext context, Pump pump)
    {
        var band = Asking.BandOf(context.Plan, pump);
        return context.Delivery(pump) is { } q && band > 0 ? Cycle.MostStartsPerHour(new(band), new(q)) : null;
    }

    private static string CauseOf(in RuleContext context, Pump plan, PumpTimeline pump, int starts, double? limit)
    {
        var now = context.Now;
        if (2 * (pump.VoltageTrips.CountWithin(Window, now) + pump.DryTrips.CountWithin(Window, now)) >= starts && starts > 0)
        {
            return "supply";
        }

        var timeline = context.Timeline;
        if (plan.To.Any(tank => timeline.Tanks[tank].Probes.Any(probe => probe.Flips.CountWithin(Window, now) >= 3)))
        {
            return "chattering-probe";
        }

        if (Asking.BandOf(context.Plan, plan) <= 0)
        {
            return "probes-too-close";
        }

        // A sliding hour can hold one start more than the rate says, hence the added one.
        if (starts > limit + 1)
        {
            return "chattering-probe";
        }

        return limit >= plan.MaxStartsPerHour ? "probes-too-close" : Asking.Undetermined;
    }

    private static string Summary(string cause) => cause switch
    {
        "supply" => "short-cycling.summary.supply",
        "chattering-probe" => "short-cycling.summary.chattering-probe",
        "probes-too-close" => "short-cycling.summary.probes-too-close",
        _ => "short-cycling.summary",
    };

    private static ImmutableArray<Phrase> Advice(string cause) => cause switch
    {
        "supply" => Phrase.Each("short-cycling.advice.trips", "short-cycling.advice.supply"),
        "chattering-probe" => Phrase.Each("short-cycling.advice.probes", "short-cycling.advice.inlet"),
        "probes-too-close" => Phrase.Each("short-cycling.advice.spacing", "short-cycling.advice.volumes"),
        _ => Phrase.Each("short-cycling.advice.watch", "short-cycling.advice.check"),
    };
}
