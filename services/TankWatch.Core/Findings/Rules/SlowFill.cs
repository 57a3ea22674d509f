using System.Collections.Immutable;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;

namespace TankWatch.Core.Findings.Rules;

/// <summary>Three fills in a row between the same two probes took much longer than this pump's own normal for that pair.</summary>
/// <remarks>
/// One long fill proves nothing, and a long fill alone cannot tell a weak pump from a leak or from use: what the draw-downs between the
/// fills say too weighs the causes, and what they leave open is told as undetermined.
/// </remarks>
internal sealed class SlowFill : Rule
{
    private const int InARow = 3;
    private const double ClearRatio = 1.15;
    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("slow-fill.advice.compare", "slow-fill.advice.ask");

    public override FindingKind Kind => FindingKind.SlowFill;
    public override RuleScope Scope => RuleScope.Pump;
    public override Priority Priority => Priority.Low;

    public override Verdict Judge(in RuleContext context, int device)
    {
        var (slow, unclear, any) = (default(DateTimeOffset?), false, false);
        foreach (var tank in context.Plan.Pumps[device].To)
        {
            foreach (var pair in context.Timeline.Tanks[tank].Fills)
            {
                any |= pair.LastRatio is not null;
                unclear |= pair.LastRatio >= ClearRatio;
                slow = pair.SlowStreak >= InARow ? Moments.Later(slow, pair.SlowSince) : slow;
            }
        }

        return slow is not null ? Verdict.Holds(slow) : !any ? Verdict.Unknown : unclear ? Verdict.Between() : Verdict.Clear;
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var pump = context.Plan.Pumps[device];
        var evidence = ImmutableArray.CreateBuilder<Phrase>();
        foreach (var index in pump.To)
        {
            var tank = context.Plan.Tanks[index];
            for (var i = 0; i < tank.Probes.Length - 1; i++)
            {
                if (context.Timeline.Tanks[index].Fills[i] is { SlowStreak: >= InARow } fill)
                {
                    evidence.Add(Phrase.Of(
                        "slow-fill.evidence.fill", ("tank", tank.Id.Value), ("from", tank.Probes[i].Name), ("to", tank.Probes[i + 1].Name),
                        ("last", Asking.Lasting(fill.LastSeconds!.Value)), ("count", fill.SlowStreak), ("normal", Asking.Lasting(fill.Normal.Median!.Value))));
                }
            }
        }

        var causes = SlowFillCauses.Of(context, pump);
        evidence.Add(causes[0].Name == Asking.Undetermined
            ? Phrase.Of("slow-fill.evidence.open")
            : Phrase.Of("slow-fill.evidence.cause", ("cause", Terms.Cause(causes[0].Name)), ("share", BalanceEvidence.Percent(causes[0].Probability))));
        var text = new FindingText(
            Phrase.Of("slow-fill.summary", ("pump", pump.Id.Value), ("tanks", Asking.NamesOf(context.Plan, pump.To))), evidence.ToImmutable(), Advice, Cautions.PumpAndTank);
        return new(text, causes);
    }
}
