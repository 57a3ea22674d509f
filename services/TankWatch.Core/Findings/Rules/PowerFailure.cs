using System.Collections.Immutable;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Findings.Rules;

/// <summary>The mains are off where a unit is.</summary>
internal sealed class PowerFailure : Rule
{
    public override FindingKind Kind => FindingKind.PowerFailure;
    public override RuleScope Scope => RuleScope.Unit;
    public override Priority Priority => Priority.Medium;
    public override TimeSpan RaiseAfter => TimeSpan.FromSeconds(60);
    public override TimeSpan ClearAfter => TimeSpan.FromSeconds(60);

    private static readonly ImmutableArray<Phrase> Advice =
        Phrase.Each("power-failure.advice.neighbours", "power-failure.advice.electrician", "power-failure.advice.save");

    public override Verdict Judge(in RuleContext context, int device) => context.Timeline.Units[device] switch
    {
        { MainsOffSince: { } since } => Verdict.Holds(since),
        { MainsKnown: false } => Verdict.Unknown,
        _ => Verdict.Clear,
    };

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        return new(new(
            Phrase.Of("power-failure.summary", ("site", context.Plan.Name)),
            [Phrase.Of("power-failure.evidence.since", ("unit", context.Plan.Units[device].Id.Value), ("since", context.Clock(since)))],
            Advice, Cautions.Pump));
    }
}
