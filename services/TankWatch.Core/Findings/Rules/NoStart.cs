using System.Collections.Immutable;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings.Rules;

/// <summary>A tank calls, the sump has water as far as is known, the mains are on, and the pump does not run.</summary>
internal sealed class NoStart : Rule
{
    // Where nothing tells whether the sump has water, a while longer passes before the pump is blamed.
    private static readonly TimeSpan UnknownSumpGrace = TimeSpan.FromMinutes(10);
    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("no-start.advice.control", "no-start.advice.electrician");

    public override FindingKind Kind => FindingKind.NoStart;
    public override RuleScope Scope => RuleScope.Pump;
    public override Priority Priority => Priority.High;
    public override TimeSpan RaiseAfter => TimeSpan.FromMinutes(5);
    public override TimeSpan ClearAfter => TimeSpan.FromMinutes(1);

    public override Verdict Judge(in RuleContext context, int device)
    {
        var (plan, pump) = (context.Plan.Pumps[device], context.Timeline.Pumps[device]);
        if (pump.Running == true || pump.IsManual)
        {
            return Verdict.Clear;
        }

        if (pump.Running is null || !context.KnowsPump(device))
        {
            return Verdict.Unknown;
        }

        if (CallingSince(context, plan) is not { } calling)
        {
            return Verdict.Clear;
        }

        // A protection that holds the pump explains why it rests, and its own findings say so.
        if (context.MainsAreOff() || pump.CutOutAt is not null
            || pump.Cause is PumpCause.UnderVoltage or PumpCause.OverVoltage or PumpCause.Overload or PumpCause.DryRun or PumpCause.Power)
        {
            return Verdict.Between();
        }

        if (plan.From is not { } sump || context.Plan.Tanks[sump].Probes.IsEmpty)
        {
            return Verdict.Holds(Moments.Later(calling, pump.Since) + UnknownSumpGrace);
        }

        // Below the restart probe a control may rightly wait, whether or not it saw the cut-out.
        var water = context.Timeline.Tanks[sump];
        return !context.KnowsTank(sump) ? Verdict.Unknown
            : water.IsWet(Math.Min(1, water.Probes.Length - 1)) ? Verdict.Holds() : Verdict.Between();
    }

    /// <summary>Since when the first of the tanks served that call does; null when none calls.</summary>
    private static DateTimeOffset? CallingSince(in RuleContext context, Pump plan)
    {
        DateTimeOffset? since = null;
        foreach (var tank in plan.To)
        {
            since = context.KnowsTank(tank) ? Moments.Earlier(since, context.Timeline.Tanks[tank].EmptySince) : since;
        }

        return since;
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var plan = context.Plan.Pumps[device];
        var known = plan.From is { } sump && !context.Plan.Tanks[sump].Probes.IsEmpty;
        return new(new(
            Phrase.Of("no-start.summary", ("pump", plan.Id.Value), ("tanks", Asking.NamesOf(context.Plan, plan.To)), ("count", plan.To.Length)),
            [
                Phrase.Of("no-start.evidence.since", ("since", context.Clock(since))),
                Phrase.Of(known ? "no-start.evidence.water" : "no-start.evidence.unmeasured"),
            ],
            Advice, Cautions.Pump));
    }
}
