using TankWatch.Core.Balance;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Findings.Rules;

/// <summary>A pump delivers less than it did, with the draw from its tanks unchanged.</summary>
internal sealed class WeakPump : Rule
{
    private const double PerMinute = 1.0 / 60;

    public override FindingKind Kind => FindingKind.WeakPump;
    public override RuleScope Scope => RuleScope.Pump;
    public override Priority Priority => Priority.Medium;

    public override Verdict Judge(in RuleContext context, int device)
    {
        var (any, since) = (false, default(DateTimeOffset?));
        foreach (var tank in context.Plan.Pumps[device].To)
        {
            var balance = context.Timeline.Tanks[tank].Balance;
            any |= balance?.Filter is not null;
            since = balance?.Delivery is { } found ? Time.Moments.Earlier(since, found.Since) : since;
        }

        return since is not null ? Verdict.Holds(since) : any ? Verdict.Clear : Verdict.Unknown;
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var pump = context.Plan.Pumps[device];
        var tank = TankOf(context, pump);
        var balance = context.Timeline.Tanks[tank].Balance!;
        var found = balance.Delivery!;
        var (usual, now) = (balance.UsualDelivery * PerMinute, BalanceChanges.Delivery(balance.Filter!) * PerMinute);
        var spread = balance.Filter!.Spread(BalanceFilter.Inflow) * PerMinute;
        var loss = 1 - (now / usual);
        var how = found.Change == Change.Decline ? "little by little" : "at once";
        return new(
            new(
                $"Pump {pump.Id} delivers about {Asking.Plain(100 * loss)} % less than it used to.",
                BalanceEvidence.All(
                    [
                        $"Since about {context.Clock(since)}, {how}: {BalanceEvidence.Sized(BalanceEvidence.Interval(now, spread), "L/min")} instead of {Asking.Plain(usual)}.",
                        "While the pump rests the tank goes down as before, so it is not use:",
                    ],
                    BalanceEvidence.Passages(context, tank, found, filling: true),
                    [BalanceEvidence.Otherwise(found)]),
                [
                    "Ask whether the supply voltage was low, and whether a valve in the riser or at the tank was touched.",
                    "One look settles it: the time from the lowest to the highest probe on a quiet afternoon, against the figures above.",
                    "Have a licensed person check the foot valve and strainer, the impeller and the riser for a blockage or a valve left half shut.",
                ],
                Cautions.PumpAndTank),
            found.Causes, new("delivery", BalanceEvidence.Interval(now, spread), "L/min"));
    }

    private static int TankOf(in RuleContext context, Pump pump)
    {
        foreach (var tank in pump.To)
        {
            if (context.Timeline.Tanks[tank].Balance?.Delivery is not null)
            {
                return tank;
            }
        }

        throw new InvalidOperationException($"no tank of pump {pump.Id} tells of its delivery");
    }
}
