using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Findings.Rules;

/// <summary>People draw more than usual, in the pattern of use or at new hours. Information, not an alarm.</summary>
internal sealed class HeavyUse : Rule
{
    public override FindingKind Kind => FindingKind.HeavyUse;
    public override RuleScope Scope => RuleScope.Overhead;
    public override Priority Priority => Priority.Low;

    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("heavy-use.advice.ask");

    public override Verdict Judge(in RuleContext context, int device) => context.Timeline.Tanks[device].Balance switch
    {
        null or { Filter: null } => Verdict.Unknown,
        { Use: { } found } => Verdict.Holds(found.Since),
        _ => Verdict.Clear,
    };

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var tank = context.Plan.Tanks[device];
        var found = context.Timeline.Tanks[device].Balance!.Use!;
        var isHabit = Changes.IsHabit(found.Change);
        var size = isHabit ? BalanceEvidence.Interval(found.Size, found.Spread) : BalanceEvidence.Interval(100 * found.Size, 100 * found.Spread);
        var (what, low, high) = (Asking.Plain(size.Value), Asking.Plain(size.Low), Asking.Plain(size.High));
        var summary = isHabit
            ? Phrase.Of("heavy-use.summary.habit", ("from", At(Changes.FirstHour(found.Change))), ("to", At(Changes.FirstHour(found.Change) + 3)), ("rate", what), ("tank", tank.Id.Value))
            : Phrase.Of("heavy-use.summary", ("share", what), ("tank", tank.Id.Value));
        var more = isHabit
            ? Phrase.Of("heavy-use.evidence.rate", ("since", context.Clock(since)), ("rate", what), ("low", low), ("high", high))
            : Phrase.Of("heavy-use.evidence.share", ("since", context.Clock(since)), ("share", what), ("low", low), ("high", high));
        return new(
            new(
                summary,
                BalanceEvidence.All(
                    [more],
                    BalanceEvidence.Passages(context, device, found, filling: false),
                    [BalanceEvidence.Otherwise(found)]),
                Advice,
                []),
            found.Causes, new("use", size, isHabit ? "L/h" : "%"));
    }

    private static TimeOnly At(int hour) => new(hour % 24, 0);
}
