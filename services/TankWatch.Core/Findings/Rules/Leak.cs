using TankWatch.Core.Balance;
using TankWatch.Core.Hydraulics;

namespace TankWatch.Core.Findings.Rules;

/// <summary>Water leaves a tank at all hours, pump or no pump.</summary>
internal sealed class Leak : Rule
{
    public override FindingKind Kind => FindingKind.Leak;
    public override RuleScope Scope => RuleScope.Overhead;
    public override Priority Priority => Priority.High;

    public override Verdict Judge(in RuleContext context, int device) => Outflows.Judge(context, device, backDrain: false);

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var tank = context.Plan.Tanks[device];
        var found = context.Timeline.Tanks[device].Balance!.Outflow!;
        var size = Outflows.SizeOf(found);
        var grows = found.Change == Change.GrowingLeak ? ", and it grows" : "";
        return new(
            new(
                $"Tank {tank.Id} loses about {Asking.Plain(size.Value)} litres an hour at all hours, besides what people use{grows}.",
                BalanceEvidence.All(
                    [
                        $"Since about {context.Clock(since)}: {BalanceEvidence.Sized(size, "L/h")}, {Asking.Plain(size.Value * 24)} litres a day.",
                        "It shows most when people draw least:",
                    ],
                    BalanceEvidence.Passages(context, device, found, filling: false),
                    [BalanceEvidence.Otherwise(found), Hole(size, tank)]),
                [
                    "Late in the evening, ask that nobody draws water for an hour and listen along the pipes below the tank: cisterns that run on are the most common cause.",
                    $"One look settles it: with the outlet valve of {tank.Id} shut for a quiet hour, a level that still falls means the tank or its float valve; one that stands means the pipes and taps below.",
                    "Look from outside at the overflow and the ground under the pipes for wet patches.",
                ],
                Cautions.Tank),
            found.Causes, new("leak", size, "L/h"));
    }

    private static string Hole(Estimate size, Sites.Tank tank) =>
        $"Under one metre of water, a hole of about {Asking.Plain(Orifice.HoleMillimetres(size.Value, metres: 1))} mm in {tank.Id} would lose as much.";
}

/// <summary>Water runs back through the pump when it stops.</summary>
internal sealed class BackDrain : Rule
{
    public override FindingKind Kind => FindingKind.BackDrain;
    public override RuleScope Scope => RuleScope.Overhead;
    public override Priority Priority => Priority.Medium;

    public override Verdict Judge(in RuleContext context, int device) => Outflows.Judge(context, device, backDrain: true);

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var tank = context.Plan.Tanks[device];
        var found = context.Timeline.Tanks[device].Balance!.Outflow!;
        var size = Outflows.SizeOf(found);
        return new(
            new(
                $"Tank {tank.Id} loses about {Asking.Plain(size.Value)} litres an hour while its pump rests: the non-return valve seems to pass.",
                BalanceEvidence.All(
                    [
                        $"Since about {context.Clock(since)}: {BalanceEvidence.Sized(size, "L/h")} while no pump runs; fills are as fast as before, which a leak would slow.",
                    ],
                    BalanceEvidence.Passages(context, device, found, filling: false),
                    [BalanceEvidence.Otherwise(found)]),
                [
                    "One look settles it: from outside, listen at the sump after the pump has stopped; water that still runs in with the public supply off comes back through the pump.",
                    "Have the non-return valve in the riser checked for grit and wear.",
                ],
                Cautions.PumpAndTank),
            found.Causes, new("back-drain", size, "L/h"));
    }
}

/// <summary>What leaks and back-drains have in common.</summary>
internal static class Outflows
{
    public static Verdict Judge(in RuleContext context, int device, bool backDrain) => context.Timeline.Tanks[device].Balance switch
    {
        null or { Filter: null } => Verdict.Unknown,
        { Outflow: { } found } when (found.Change == Change.BackDrain) == backDrain => Verdict.Holds(found.Since),
        _ => Verdict.Clear,
    };

    /// <summary>Litres per hour when it was found.</summary>
    public static Estimate SizeOf(Found found)
    {
        var days = found.Change == Change.GrowingLeak ? (found.At - found.Since).TotalDays : 1;
        var size = BalanceEvidence.Interval(found.Size * days, found.Spread * days);
        return size with { Low = Math.Max(0, size.Low) };
    }
}
