using TankWatch.Core.Balance;

namespace TankWatch.Core.Findings.Rules;

/// <summary>People draw more than usual, in the pattern of use or at new hours. Information, not an alarm.</summary>
internal sealed class HeavyUse : Rule
{
    public override FindingKind Kind => FindingKind.HeavyUse;
    public override RuleScope Scope => RuleScope.Overhead;
    public override Priority Priority => Priority.Low;

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
        var summary = isHabit
            ? $"Between {Changes.FirstHour(found.Change):00}:00 and {(Changes.FirstHour(found.Change) + 3) % 24:00}:00 about {Asking.Plain(size.Value)} litres an hour more than usual leave tank {tank.Id}, as if something new were watered or filled at that time."
            : $"About {Asking.Plain(size.Value)} % more water than usual is drawn from tank {tank.Id}, at the hours at which it always is.";
        return new(
            new(
                summary,
                BalanceEvidence.All(
                    [$"Since about {context.Clock(since)}: {BalanceEvidence.Sized(size, isHabit ? "L/h" : "%")} more."],
                    BalanceEvidence.Passages(context, device, found, filling: false),
                    [BalanceEvidence.Otherwise(found)]),
                ["Ask whether there are guests, an event, or something new that uses water; if so there is nothing to mend."],
                []),
            found.Causes, new("use", size, isHabit ? "L/h" : "%"));
    }
}
