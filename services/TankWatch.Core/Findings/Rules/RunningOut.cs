using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings.Rules;

/// <summary>An overhead tank is below its lowest probe and is not being filled.</summary>
internal sealed class RunningOut : Rule
{
    private static readonly TimeSpan RiseGrace = TimeSpan.FromMinutes(5);

    public override FindingKind Kind => FindingKind.RunningOut;
    public override RuleScope Scope => RuleScope.Overhead;
    public override Priority Priority => Priority.Critical;
    public override TimeSpan RaiseAfter => TimeSpan.FromMinutes(5);
    public override TimeSpan ClearAfter => TimeSpan.FromMinutes(1);

    public override Verdict Judge(in RuleContext context, int device)
    {
        if (!context.KnowsTank(device))
        {
            return Verdict.Unknown;
        }

        if (context.Timeline.Tanks[device].EmptySince is not { } empty)
        {
            return Verdict.Clear;
        }

        DateTimeOffset? since = empty;
        foreach (var pump in context.Plan.Pumps)
        {
            if (!pump.To.Contains(device))
            {
                continue;
            }

            var state = context.Timeline.Pumps[pump.Index];
            if (state.Running == true)
            {
                var due = ArrivesBy(context, pump, device, state.Since!.Value);
                if (due is null || due > context.Now)
                {
                    return Verdict.Between(due);
                }

                since = Moments.Later(since, due);
            }
            else
            {
                since = Moments.Later(since, state.Since);
            }
        }

        return Verdict.Holds(since);
    }

    /// <summary>When the lowest probe should be wet at the latest if water arrives; null when the delivery is unknown.</summary>
    private static DateTimeOffset? ArrivesBy(in RuleContext context, Pump pump, int tank, DateTimeOffset started)
    {
        var litres = context.Plan.Tanks[tank].Probes[0].Volume.Value + (pump.Riser?.Value ?? 0);
        var delivery = context.Timeline.Pumps[pump.Index].Deliveries.Median ?? (pump.RatedDelivery?.Value * Asking.WorstShareOfRating);
        return delivery is { } q ? started + RiseGrace + Asking.Wait(2 * litres / q * pump.To.Length) : null;
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var tank = context.Plan.Tanks[device];
        var lowest = tank.Probes[0];
        var left = lowest.Volume.Value - tank.FireReserve.Value;
        return new(new(
            $"Tank {tank.Id} is running out of water and is not being filled: {Reason(context, device)}.",
            [
                $"Below its lowest probe since {context.Clock(context.Timeline.Tanks[device].EmptySince!.Value)}.",
                left > 0 ? $"At that moment {Asking.Plain(left)} litres were left to use; what is left now is not known."
                    : "Nothing above the fire reserve is left to use.",
            ],
            ["Tell the residents to save water.", "See why the pump does not fill the tank: power, sump, control, in that order.", "Arrange for water if the cause cannot be mended today."],
            Cautions.PumpAndSump));
    }

    private static string Reason(in RuleContext context, int device)
    {
        if (context.MainsAreOff())
        {
            return "the mains are off";
        }

        foreach (var pump in context.Plan.Pumps)
        {
            if (pump.To.Contains(device) && ReasonOf(context, pump) is { } reason)
            {
                return reason;
            }
        }

        return "no pump is known to feed it";
    }

    private static string? ReasonOf(in RuleContext context, Pump pump)
    {
        var state = context.Timeline.Pumps[pump.Index];
        if (state.CutOutAt is not null || (pump.From is { } sump && context.Timeline.Tanks[sump].EmptySince is not null))
        {
            return "the sump is empty";
        }

        if (pump.From is { } low && context.Timeline.Tanks[low] is { Wet: not null, Probes.Length: > 1 } water && !water.IsWet(1))
        {
            return "the sump is below its restart probe";
        }

        return (state.Running, state.Cause) switch
        {
            (true, _) => $"pump {pump.Id} runs but no water arrives",
            (null, _) => $"nothing is known of pump {pump.Id}",
            (_, PumpCause.DryRun) => $"pump {pump.Id} was stopped because no water came",
            (_, PumpCause.UnderVoltage or PumpCause.OverVoltage) => $"the voltage stopped pump {pump.Id}",
            (_, PumpCause.Overload) => $"overload stopped pump {pump.Id}",
            (_, PumpCause.Power) => $"pump {pump.Id} lost its power",
            _ when state.IsManual => $"pump {pump.Id} is in manual mode and switched off",
            _ => $"pump {pump.Id} does not run",
        };
    }
}
