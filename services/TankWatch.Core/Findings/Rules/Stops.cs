using System.Collections.Immutable;
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
            $"Pump {pump.Id} runs on although {Asking.NamesOf(context.Plan, pump.To)} {(pump.To.Length == 1 ? "is" : "are")} full: water is about to overflow.",
            [$"The highest probe has been wet with the pump running since {context.Clock(since)}.", state.IsManual ? "The pump is in manual mode, which bypasses the stop at the top." : "The pump is in automatic mode and should have stopped."],
            ["Have the pump switched off at its ordinary switch by someone allowed to.", "Then have the control, and where fitted the float valve, checked."],
            Cautions.PumpAndTank));
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
        var (pump, form) = (context.Plan.Pumps[device].Id, Find(context, device).Form);
        var (what, evidence) = form switch
        {
            Form.NoStopAtTop => ("did not stop when the tank was full", $"Every highest probe has been wet with the pump running in automatic mode since {context.Clock(since)}."),
            Form.NoStopAtCutOut => ("did not stop when the sump reached its cut-out", $"The sump's lowest probe has been dry with the pump running in automatic mode since {context.Clock(since)}."),
            _ => ("started again too early after the sump had cut it out", $"It started at {context.Clock(since)}, before the sump's restart probe was wet."),
        };
        ImmutableArray<string> advice =
        [
            "Have the control and its wiring checked by a licensed person: a stuck relay or contactor, crossed probe leads, or a wrong setting.",
            "Until then someone should look at the tank and the sump at the hours when the pump runs.",
        ];
        return new(new($"Pump {pump} {what}: its control does not follow the probes.", [evidence], advice, Cautions.PumpAndSump));
    }
}
