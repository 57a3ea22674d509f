using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;

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
    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("probe-fault.advice.probes", "probe-fault.advice.common");

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
        var (summary, evidence, cause) = Form(context, plan, tank);
        return new(new(summary, [evidence, Phrase.Of("probe-fault.evidence.meanwhile")], Advice, Cautions.PumpAndTank), [new(cause, 1.0)]);
    }

    private static (Phrase Summary, Phrase Evidence, string Cause) Form(in RuleContext context, Tank plan, TankTimeline tank)
    {
        if (tank.CommonLostSince is { } lost)
        {
            return (Summary("probe-fault.summary.lost-common"), Phrase.Of("probe-fault.evidence.lost-common", ("at", context.Clock(lost))), "lost-common");
        }

        for (var i = 0; i < tank.Probes.Length; i++)
        {
            var probe = plan.Probes[i].Name;
            if (tank.Probes[i].PassedBy >= PassesToRaise)
            {
                return (
                    SummaryOf(tank.IsWet(i) ? "probe-fault.summary.stuck-wet" : "probe-fault.summary.stuck-dry", probe),
                    Phrase.Of("probe-fault.evidence.stuck", ("probe", probe), ("count", tank.Probes[i].PassedBy)), "stuck-probe");
            }

            var flips = tank.Probes[i].Flips.CountWithin(FlickerWindow, context.Now);
            if (flips >= FlipsToRaise)
            {
                return (SummaryOf("probe-fault.summary.chattering", probe), Phrase.Of("probe-fault.evidence.chattering", ("count", flips + 2), ("probe", probe)), "chattering-probe");
            }
        }

        var wet = plan.Probes.Select((p, i) => (PhraseValue)Phrase.Of(tank.IsWet(i) ? "probe-fault.evidence.order.wet" : "probe-fault.evidence.order.dry", ("probe", p.Name)));
        return (Summary("probe-fault.summary.order"), Phrase.Of("probe-fault.evidence.order", ("probes", PhraseList.Of(ListStyle.Comma, wet))), "impossible-order");

        Phrase Summary(string key) => Phrase.Of(key, ("tank", plan.Id.Value));

        Phrase SummaryOf(string key, string probe) => Phrase.Of(key, ("tank", plan.Id.Value), ("probe", probe));
    }
}
