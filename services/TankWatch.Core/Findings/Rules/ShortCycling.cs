using System.Collections.Immutable;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Core.Time;

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
        var evidence = ImmutableArray.CreateBuilder<string>();
        evidence.Add($"{starts} automatic starts in the hour up to {context.Clock(context.Now)}; the motor stands {Asking.Plain(plan.MaxStartsPerHour)}{Assumed(plan.MaxStartsAssumed)}.");
        if (MedianRun(pump) is { } median)
        {
            evidence.Add($"Of the last {pump.TopRuns.Length} automatic runs that filled the tank, half were shorter than {Asking.Lasting(median)}; the motor needs {Asking.Lasting(plan.MinRun)}{Assumed(plan.MinRunAssumed)}.");
        }

        if (limit is { } most)
        {
            evidence.Add($"Use of water alone can start this pump at most {Asking.Plain(most)} times an hour.");
        }

        var text = new FindingText(
            $"Pump {plan.Id} starts too often or runs too briefly, which wears out its motor and starter{Because(cause)}.",
            evidence.ToImmutable(), Advice(cause), Cautions.PumpAndTank);
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

    private static string Assumed(bool assumed) => assumed ? " (assumed, the site file does not say)" : "";

    private static string Because(string cause) => cause switch
    {
        "supply" => ": the supply of power or water keeps cutting its runs short",
        "chattering-probe" => ": a probe flickers between wet and dry",
        "probes-too-close" => ": the probes that start and stop it are too close together",
        _ => "",
    };

    private static ImmutableArray<string> Advice(string cause) => cause switch
    {
        "supply" => ["Look at what stops the runs: the pump's trips of the last hour are in its history.", "If the voltage is at fault, ask the electricity supplier; if the sump runs dry, see the sump."],
        "chattering-probe" => ["Have the lowest and the highest probe of the tank checked for scale, corrosion, a loose lead, and ripple from the inlet.", "Ask whether the inlet pours onto the probes."],
        "probes-too-close" => ["Have the lowest probe set lower or the highest one higher, so that a run lasts longer.", "Check that the volumes in the site file are right."],
        _ => ["Watch one whole cycle from a safe place: does the pump stop before the tank is full?", "Have the probes and the non-return valve checked."],
    };
}
