using TankWatch.Core.Balance;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Supply;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings.Rules;

/// <summary>An overhead tank is below its lowest probe and is not being filled, or will be empty before anything that is known of can fill it.</summary>
internal sealed class RunningOut : Rule
{
    private static readonly TimeSpan RiseGrace = TimeSpan.FromMinutes(5);

    // Asked again this often while something keeps the tank from being filled.
    private static readonly TimeSpan AskAgain = TimeSpan.FromMinutes(15);

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

        return context.Timeline.Tanks[device].EmptySince is { } empty ? BelowLowest(context, device, empty) : Ahead(context, device);
    }

    /// <summary>Nothing that is a reason for not being filled: a tank that will simply call its pump is no finding.</summary>
    private static Verdict Ahead(in RuleContext context, int device)
    {
        if (Want.Of(context, device) is not { } want)
        {
            return Verdict.Clear;
        }

        var askAgain = context.Now + AskAgain;
        return !want.IsSettled ? Verdict.Between(askAgain)
            : want.HoursToEmpty(context, device, Want.EightyPercent) is not { } hours ? Verdict.ClearUntil(askAgain)
            : context.Now.AddHours(hours.High) <= want.WaterFrom ? Verdict.Holds(want.Since, askAgain)
            : context.Now.AddHours(hours.Value) <= want.WaterFrom ? Verdict.Between(askAgain)
            : Verdict.ClearUntil(askAgain);
    }

    private static Verdict BelowLowest(in RuleContext context, int device, DateTimeOffset empty)
    {
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
        var (tank, want, water) = (context.Plan.Tanks[device], Want.Of(context, device), context.Timeline.Tanks[device]);
        var hours = want?.HoursToEmpty(context, device, BalanceAccount.Ninety)
            ?? Outlook.HoursToEmpty(context.Timeline, context.Plan, device, 0, context.Now);
        return new(
            new(
                water.EmptySince is null && hours is { } left
                    ? $"Tank {tank.Id} will be empty in about {Asking.Lasting(TimeSpan.FromHours(left.Value))} and is not being filled: {Reason(context, device)}."
                    : $"Tank {tank.Id} is running out of water and is not being filled: {Reason(context, device)}.",
                [.. Evidence(context, tank, want, hours).OfType<string>()],
                ["Tell the residents to save water.", "See why the pump does not fill the tank: power, sump, control, in that order.", "Arrange for water if the cause cannot be mended today."],
                Cautions.PumpAndSump),
            [], hours is { } size ? new("empty-in", size, "h") : null);
    }

    private static IEnumerable<string?> Evidence(RuleContext context, Tank tank, Want? want, Estimate? hours)
    {
        var water = context.Timeline.Tanks[tank.Index];
        var reserve = tank.FireReserve.Value > 0 ? ", down to the fire reserve" : "";
        if (water.EmptySince is { } empty)
        {
            var left = tank.Probes[0].Volume.Value - tank.FireReserve.Value;
            yield return $"Below its lowest probe since {context.Clock(empty)}.";
            yield return left > 0 ? $"At that moment {Asking.Plain(left)} litres were left to use{(hours is null ? "; what is left now is not known" : "")}."
                : "Nothing above the fire reserve is left to use.";
        }
        else if (water.Last is { } last)
        {
            yield return $"The water {(last.Rising ? "rose to" : "sank below")} probe {tank.Probes[last.Probe].Name} at {context.Clock(last.At)}.";
        }

        if (hours is { } span)
        {
            yield return $"As people use water at these hours it is empty{reserve} in {Asking.Plain(span.Low)} to {Asking.Plain(span.High)} hours, between {context.Clock(context.Now.AddHours(span.Low))} and {context.Clock(context.Now.AddHours(span.High))}.";
        }

        if (want is not null)
        {
            yield return want.More > 0 ? $"Counted in: {Asking.Plain(want.More)} litres that the pump can still draw from the sump." : null;
            yield return want.IsSupply ? $"Water may come from {context.Clock(want.WaterFrom)} on." : $"The pump has been held since {context.Clock(want.Since)}.";
            yield return "Should people draw less than usual, or water come earlier, it lasts longer; one look at the pump and the sump's inlet tells whether it is being filled.";
        }
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
