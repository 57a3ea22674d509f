using System.Collections.Immutable;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Findings.Rules;

/// <summary>The pump runs on after the top probe of every tank it feeds is wet, whoever started it.</summary>
internal sealed class OverflowRisk : Rule
{
    public override FindingKind Kind => FindingKind.OverflowRisk;
    public override RuleScope Scope => RuleScope.Pump;
    public override Priority Priority => Priority.Critical;
    public override TimeSpan RaiseAfter => TimeSpan.FromSeconds(60);
    public override TimeSpan ClearAfter => TimeSpan.FromSeconds(60);

    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("overflow-risk.advice.switch-off", "overflow-risk.advice.control");

    public override Verdict Judge(in RuleContext context, int device)
    {
        var pump = context.Timeline.Pumps[device];
        if (pump is { Running: false })
        {
            return Verdict.Clear;
        }

        if (pump.Running is null || !context.KnowsPump(device) || !KnowsAll(context, context.Plan.Pumps[device].To))
        {
            return Verdict.Unknown;
        }

        return context.AllFullSince(context.Plan.Pumps[device]) is { } full
            ? Verdict.Holds(Moments.Later(full, pump.Since)) : Verdict.Clear;
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var (pump, state) = (context.Plan.Pumps[device], context.Timeline.Pumps[device]);
        return new(new(
            Phrase.Of("overflow-risk.summary", ("pump", pump.Id.Value), ("tanks", Asking.NamesOf(context.Plan, pump.To)), ("count", pump.To.Length)),
            [
                Phrase.Of("overflow-risk.evidence.since", ("since", context.Clock(since))),
                Phrase.Of(state.IsManual ? "overflow-risk.evidence.manual" : "overflow-risk.evidence.automatic"),
            ],
            Advice, Cautions.PumpAndTank));
    }

    private static bool KnowsAll(in RuleContext context, ImmutableArray<int> tanks)
    {
        foreach (var tank in tanks)
        {
            if (!context.KnowsTank(tank))
            {
                return false;
            }
        }

        return true;
    }
}

/// <summary>
/// A start or stop that the probes do not explain: a start after a cut-out before the restart probe was wet, no stop at the top, or no
/// stop at the cut-out. Manual runs are not the control's doing.
/// </summary>
internal sealed class ControlFault : Rule
{
    private static readonly TimeSpan TooLate = TimeSpan.FromMinutes(2);
    private static readonly TimeSpan EventLasts = TimeSpan.FromHours(24);
    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("control-fault.advice.check", "control-fault.advice.look");

    public override FindingKind Kind => FindingKind.ControlFault;
    public override RuleScope Scope => RuleScope.Pump;
    public override Priority Priority => Priority.High;
    public override TimeSpan ClearAfter => TimeSpan.FromMinutes(10);

    private enum Form { EarlyStart, NoStopAtTop, NoStopAtCutOut }

    public override Verdict Judge(in RuleContext context, int device)
    {
        var (form, since) = Find(context, device);
        if (form is not null)
        {
            return form == Form.EarlyStart ? Verdict.Holds(since, since + EventLasts) : Verdict.Holds(since);
        }

        return Verdict.ClearUntil(since);
    }

    /// <returns>The form and its onset; or no form, and when one may come about.</returns>
    private static (Form? Form, DateTimeOffset? At) Find(in RuleContext context, int device)
    {
        var (pump, state) = (context.Plan.Pumps[device], context.Timeline.Pumps[device]);
        if (state is { Running: true, IsManual: false, Run.Manual: false } && context.KnowsPump(device))
        {
            var full = SinceRunning(context.AllFullSince(pump), state);
            var dry = SinceRunning(pump.From is { } sump && context.KnowsTank(sump) ? context.Timeline.Tanks[sump].EmptySince : null, state);
            if (full + TooLate <= context.Now)
            {
                return (Form.NoStopAtTop, full);
            }

            if (dry + TooLate <= context.Now)
            {
                return (Form.NoStopAtCutOut, dry);
            }

            if (full is not null || dry is not null)
            {
                return (null, Moments.Earlier(full, dry) + TooLate);
            }
        }

        return state.EarlyStartAt is { } early && early + EventLasts > context.Now ? (Form.EarlyStart, early) : (null, null);
    }

    private static DateTimeOffset? SinceRunning(DateTimeOffset? condition, PumpTimeline pump) =>
        condition is null ? null : Moments.Later(condition, pump.Since);

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var (summary, evidence) = Find(context, device).Form switch
        {
            Form.NoStopAtTop => ("control-fault.summary.no-stop-at-top", "control-fault.evidence.no-stop-at-top"),
            Form.NoStopAtCutOut => ("control-fault.summary.no-stop-at-cut-out", "control-fault.evidence.no-stop-at-cut-out"),
            _ => ("control-fault.summary.early-start", "control-fault.evidence.early-start"),
        };
        return new(new(
            Phrase.Of(summary, ("pump", context.Plan.Pumps[device].Id.Value)), [Phrase.Of(evidence, ("since", context.Clock(since)))], Advice, Cautions.PumpAndSump));
    }
}
