using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Supply;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings.Rules;

/// <summary>An overhead tank is below its lowest probe and is not being filled, or will be empty before anything that is known of can fill it.</summary>
internal sealed class RunningOut : Rule
{
    private static readonly TimeSpan RiseGrace = TimeSpan.FromMinutes(5);

    // Asked again this often while something keeps the tank from being filled.
    private static readonly TimeSpan AskAgain = TimeSpan.FromMinutes(15);

    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("running-out.advice.save", "running-out.advice.why", "running-out.advice.arrange");

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
                    ? Phrase.Of("running-out.summary.ahead", ("tank", tank.Id.Value), ("span", Asking.Lasting(TimeSpan.FromHours(left.Value))), ("reason", Reason(context, device)))
                    : Phrase.Of("running-out.summary", ("tank", tank.Id.Value), ("reason", Reason(context, device))),
                [.. Evidence(context, tank, want, hours).OfType<Phrase>()], Advice, Cautions.PumpAndSump),
            [], hours is { } size ? new("empty-in", size, "h") : null);
    }

    private static IEnumerable<Phrase?> Evidence(RuleContext context, Tank tank, Want? want, Estimate? hours)
    {
        var water = context.Timeline.Tanks[tank.Index];
        if (water.EmptySince is { } empty)
        {
            var left = tank.Probes[0].Volume.Value - tank.FireReserve.Value;
            yield return Phrase.Of("running-out.evidence.below", ("since", context.Clock(empty)));
            yield return left <= 0 ? Phrase.Of("running-out.evidence.reserve")
                : Phrase.Of(hours is null ? "running-out.evidence.left-then" : "running-out.evidence.left", ("litres", Asking.Plain(left)));
        }
        else if (water.Last is { } last)
        {
            yield return Phrase.Of(
                last.Rising ? "running-out.evidence.rose" : "running-out.evidence.sank", ("probe", tank.Probes[last.Probe].Name), ("at", context.Clock(last.At)));
        }

        if (hours is { } span)
        {
            yield return Phrase.Of(
                tank.FireReserve.Value > 0 ? "running-out.evidence.empty-to-reserve" : "running-out.evidence.empty", ("low", Asking.Plain(span.Low)), ("high", Asking.Plain(span.High)),
                ("from", context.Clock(context.Now.AddHours(span.Low))), ("to", context.Clock(context.Now.AddHours(span.High))));
        }

        if (want is not null)
        {
            yield return want.More > 0 ? Phrase.Of("running-out.evidence.more", ("litres", Asking.Plain(want.More))) : null;
            yield return want.IsSupply ? Phrase.Of("running-out.evidence.supply", ("at", context.Clock(want.WaterFrom)))
                : Phrase.Of("running-out.evidence.held", ("since", context.Clock(want.Since)));
            yield return Phrase.Of("running-out.evidence.less");
        }
    }

    private static Phrase Reason(in RuleContext context, int device)
    {
        if (context.MainsAreOff())
        {
            return Phrase.Of("running-out.reason.mains");
        }

        foreach (var pump in context.Plan.Pumps)
        {
            if (pump.To.Contains(device) && ReasonOf(context, pump) is { } reason)
            {
                return reason;
            }
        }

        return Phrase.Of("running-out.reason.no-pump");
    }

    private static Phrase? ReasonOf(in RuleContext context, Pump pump)
    {
        var state = context.Timeline.Pumps[pump.Index];
        if (state.CutOutAt is not null || (pump.From is { } sump && context.Timeline.Tanks[sump].EmptySince is not null))
        {
            return Phrase.Of("running-out.reason.sump-empty");
        }

        if (pump.From is { } low && context.Timeline.Tanks[low] is { Wet: not null, Probes.Length: > 1 } water && !water.IsWet(1))
        {
            return Phrase.Of("running-out.reason.sump-low");
        }

        var key = (state.Running, state.Cause) switch
        {
            (true, _) => "running-out.reason.no-water",
            (null, _) => "running-out.reason.unknown",
            (_, PumpCause.DryRun) => "running-out.reason.dry-run",
            (_, PumpCause.UnderVoltage or PumpCause.OverVoltage) => "running-out.reason.voltage",
            (_, PumpCause.Overload) => "running-out.reason.overload",
            (_, PumpCause.Power) => "running-out.reason.power",
            _ when state.IsManual => "running-out.reason.manual",
            _ => "running-out.reason.idle",
        };
        return Phrase.Of(key, ("pump", pump.Id.Value));
    }
}
