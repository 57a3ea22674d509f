using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Findings.Rules;

/// <summary>A pump delivers less than it did, with the draw from its tanks unchanged.</summary>
internal sealed class WeakPump : Rule
{
    private const double PerMinute = 1.0 / 60;
    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("weak-pump.advice.ask", "weak-pump.advice.time", "weak-pump.advice.check");

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
        var size = BalanceEvidence.Interval(now, spread);
        return new(
            new(
                Phrase.Of("weak-pump.summary", ("pump", pump.Id.Value), ("loss", Asking.Plain(100 * loss))),
                BalanceEvidence.All(
                    [
                        Phrase.Of(
                            found.Change == Change.Decline ? "weak-pump.evidence.little-by-little" : "weak-pump.evidence.at-once", ("since", context.Clock(since)),
                            ("now", Asking.Plain(now)), ("low", Asking.Plain(size.Low)), ("high", Asking.Plain(size.High)), ("usual", Asking.Plain(usual))),
                        Phrase.Of("weak-pump.evidence.resting"),
                    ],
                    BalanceEvidence.Passages(context, tank, found, filling: true),
                    [BalanceEvidence.Otherwise(found)]),
                Advice,
                Cautions.PumpAndTank),
            found.Causes, new("delivery", size, "L/min"));
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
