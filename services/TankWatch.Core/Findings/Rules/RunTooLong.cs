using System.Collections.Immutable;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Findings.Rules;

/// <summary>A run in progress is past any credible fill of everything it feeds, from empty.</summary>
internal sealed class RunTooLong : Rule
{
    private const double Margin = 1.5;
    private const double TimesNormal = 3;
    private const int EnoughRuns = 5;
    private static readonly TimeSpan Least = TimeSpan.FromMinutes(20);
    private static readonly ImmutableArray<Phrase> Advice = Phrase.Each("run-too-long.advice.look", "run-too-long.advice.nothing", "run-too-long.advice.full");

    public override FindingKind Kind => FindingKind.RunTooLong;
    public override RuleScope Scope => RuleScope.Pump;
    public override Priority Priority => Priority.High;

    public override Verdict Judge(in RuleContext context, int device)
    {
        if (context.Timeline.Pumps[device] is not { Running: true, Run.StartedAt: var started })
        {
            return Verdict.Clear;
        }

        if (Limit(context, device) is not { } limit || !context.KnowsPump(device))
        {
            return Verdict.Unknown;
        }

        return context.Now >= started + limit ? Verdict.Holds(started + limit) : Verdict.ClearUntil(started + limit);
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var (pump, state) = (context.Plan.Pumps[device], context.Timeline.Pumps[device]);
        return new(new(
            Phrase.Of("run-too-long.summary", ("pump", pump.Id.Value), ("tanks", Asking.NamesOf(context.Plan, pump.To))),
            [
                Phrase.Of("run-too-long.evidence.since", ("started", context.Clock(state.Run!.StartedAt)), ("limit", Asking.Lasting(Limit(context, device)!.Value))),
                state.NormalRunSeconds is { Count: >= EnoughRuns, Median: { } normal }
                    ? Phrase.Of("run-too-long.evidence.normal", ("normal", Asking.Lasting(normal))) : Phrase.Of("run-too-long.evidence.rated"),
            ],
            Advice, Cautions.PumpAndTank));
    }

    /// <summary>How long a fill of every tank served, from empty, may take at worst; null while nothing tells.</summary>
    private static TimeSpan? Limit(in RuleContext context, int device)
    {
        var (plan, pump) = (context.Plan, context.Plan.Pumps[device]);
        var whole = pump.To.Sum(tank => plan.Tanks[tank].Probes[^1].Volume.Value);
        if (context.Timeline.Pumps[device].NormalRunSeconds is { Count: >= EnoughRuns, Median: { } normal })
        {
            var band = Asking.BandOf(plan, pump);
            var fromEmpty = band > 0 ? Margin * normal * whole / band : 0;
            return Max(Least, Asking.Wait(Math.Max(TimesNormal * normal, fromEmpty) / 60));
        }

        return pump.RatedDelivery is { } rated
            ? Max(Least, Asking.Wait(Margin * whole / (rated.Value * Asking.WorstShareOfRating))) : null;
    }

    private static TimeSpan Max(TimeSpan a, TimeSpan b) => a > b ? a : b;
}
