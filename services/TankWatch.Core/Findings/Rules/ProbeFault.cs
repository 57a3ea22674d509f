using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings.Rules;

/// <summary>
/// The probes contradict the water: an impossible order, a probe that flickers, one that stays while the surface goes by, or all dry at
/// once. A probe that never changes is no fault by itself: a sump's cut-out probe may rightly stay wet for months.
/// </summary>
internal sealed class ProbeFault : Rule
{
    private static readonly TimeSpan FlickerWindow = TimeSpan.FromMinutes(10);
    private static readonly TimeSpan CalmWindow = TimeSpan.FromMinutes(30);
    private const int FlipsToRaise = 6;
    private const int PassesToRaise = 2;

    public override FindingKind Kind => FindingKind.ProbeFault;
    public override RuleScope Scope => RuleScope.AnyTank;
    public override Priority Priority => Priority.Medium;
    public override TimeSpan RaiseAfter => TimeSpan.FromSeconds(60);
    public override TimeSpan ClearAfter => TimeSpan.FromMinutes(10);

    public override Verdict Judge(in RuleContext context, int device)
    {
        var tank = context.Timeline.Tanks[device];
        if (tank.CommonLostSince is { } lost)
        {
            return Verdict.Holds(lost);
        }

        if (tank.Wet is null)
        {
            return Verdict.Unknown;
        }

        var (since, ask, calm, stuck) = (tank.DisorderSince, default(DateTimeOffset?), true, false);
        foreach (var probe in tank.Probes)
        {
            if (probe.PassedBy >= PassesToRaise)
            {
                // One that never changed has no onset of its own: it counts from when it was first seen to be stuck.
                (since, stuck) = (Moments.Earlier(since, probe.ChangedAt), true);
            }

            if (probe.Flips.CountWithin(FlickerWindow, context.Now) >= FlipsToRaise)
            {
                since = Moments.Earlier(since, probe.Flips.Newest(FlipsToRaise));
                ask = Moments.Earlier(ask, probe.Flips.Newest(FlipsToRaise) + FlickerWindow);
            }
            else if (probe.Flips.CountWithin(CalmWindow, context.Now) > 0)
            {
                calm = false;
                ask = Moments.Earlier(ask, probe.Flips.Newest() + CalmWindow);
            }
        }

        return since is not null || stuck ? Verdict.Holds(since, ask) : calm ? Verdict.ClearUntil(ask) : Verdict.Between(ask);
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var (plan, tank) = (context.Plan.Tanks[device], context.Timeline.Tanks[device]);
        var (what, evidence, cause) = Form(context, plan, tank);
        return new(
            new(
                $"The probes of tank {plan.Id} cannot be right: {what}. Its level is not to be relied on until they are mended.",
                [evidence, "What is said of this tank's water meanwhile may be wrong, and so may the control's starts and stops."],
                ["Have the probes checked: scale, corrosion, a loose or crossed lead, a lead cut through, a probe that touches the wall.", "Have the common electrode checked too: it must be the lowest of all."],
                Cautions.PumpAndTank),
            [new(cause, 1.0)]);
    }

    private static (string What, string Evidence, string Cause) Form(in RuleContext context, Tank plan, TankTimeline tank)
    {
        if (tank.CommonLostSince is { } lost)
        {
            return ("all went dry at once, faster than any draw", $"All probes went dry together at {context.Clock(lost)}: the common electrode or its lead is likely lost.", "lost-common");
        }

        for (var i = 0; i < tank.Probes.Length; i++)
        {
            if (tank.Probes[i].PassedBy >= PassesToRaise)
            {
                return ($"probe {plan.Probes[i].Name} stays {(tank.IsWet(i) ? "wet" : "dry")} while the water goes past it", $"The probes below and above {plan.Probes[i].Name} changed in order {tank.Probes[i].PassedBy} times and it did not.", "stuck-probe");
            }

            var flips = tank.Probes[i].Flips.CountWithin(FlickerWindow, context.Now);
            if (flips >= FlipsToRaise)
            {
                return ($"probe {plan.Probes[i].Name} flickers between wet and dry", $"{flips + 2} changes of {plan.Probes[i].Name} alone within ten minutes.", "chattering-probe");
            }
        }

        return ("a higher one is wet above a dry one", $"Wet from the lowest to the highest: {string.Join(", ", plan.Probes.Select((p, i) => $"{p.Name} {(tank.IsWet(i) ? "wet" : "dry")}"))}.", "impossible-order");
    }

}
