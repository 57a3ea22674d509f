using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Texts;

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
        var rate = Asking.Plain(size.Value);
        return new(
            new(
                Phrase.Of(found.Change == Change.GrowingLeak ? "leak.summary.growing" : "leak.summary", ("tank", tank.Id.Value), ("rate", rate)),
                BalanceEvidence.All(
                    [
                        Phrase.Of(
                            "leak.evidence.rate", ("since", context.Clock(since)), ("rate", rate), ("low", Asking.Plain(size.Low)), ("high", Asking.Plain(size.High)),
                            ("daily", Asking.Plain(size.Value * 24))),
                        Phrase.Of("leak.evidence.quiet"),
                    ],
                    BalanceEvidence.Passages(context, device, found, filling: false),
                    [BalanceEvidence.Otherwise(found), Hole(size, tank)]),
                [
                    Phrase.Of("leak.advice.listen"), Phrase.Of("leak.advice.valve", ("tank", tank.Id.Value)), Phrase.Of("leak.advice.patches"),
                ],
                Cautions.Tank),
            found.Causes, new("leak", size, "L/h"));
    }

    private static Phrase Hole(Estimate size, Sites.Tank tank) =>
        Phrase.Of("leak.evidence.hole", ("size", Asking.Plain(Orifice.HoleMillimetres(size.Value, metres: 1))), ("tank", tank.Id.Value));
}

/// <summary>Water runs back through the pump when it stops.</summary>
internal sealed class BackDrain : Rule
{
    public override FindingKind Kind => FindingKind.BackDrain;
    public override RuleScope Scope => RuleScope.Overhead;
    public override Priority Priority => Priority.Medium;

    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("back-drain.advice.listen", "back-drain.advice.valve");

    public override Verdict Judge(in RuleContext context, int device) => Outflows.Judge(context, device, backDrain: true);

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var tank = context.Plan.Tanks[device];
        var found = context.Timeline.Tanks[device].Balance!.Outflow!;
        var size = Outflows.SizeOf(found);
        return new(
            new(
                Phrase.Of("back-drain.summary", ("tank", tank.Id.Value), ("rate", Asking.Plain(size.Value))),
                BalanceEvidence.All(
                    [
                        Phrase.Of(
                            "back-drain.evidence.rate", ("since", context.Clock(since)), ("rate", Asking.Plain(size.Value)), ("low", Asking.Plain(size.Low)), ("high", Asking.Plain(size.High))),
                    ],
                    BalanceEvidence.Passages(context, device, found, filling: false),
                    [BalanceEvidence.Otherwise(found)]),
                Advice,
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
