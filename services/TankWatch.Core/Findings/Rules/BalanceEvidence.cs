using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Findings.Rules;

/// <summary>The passages a finding rests on, in words: what was expected, what was seen, and what else it could be.</summary>
internal static class BalanceEvidence
{
    private const int Shown = 4;
    private const double WorthNaming = 0.02;

    /// <summary>The passages since the onset that speak loudest for the change, in the order of time.</summary>
    /// <param name="context">The site.</param>
    /// <param name="tank">Index of the tank.</param>
    /// <param name="found">The change.</param>
    /// <param name="filling">Passages while a pump ran, or those while none did.</param>
    public static IEnumerable<Phrase> Passages(RuleContext context, int tank, Found found, bool filling)
    {
        var tankPlan = context.Plan.Tanks[tank];
        return context.Timeline.Tanks[tank].Balance!.Witnesses
            .Where(witness => witness.Filling == filling && witness.End > found.Since.UtcTicks)
            .OrderBy(witness => (witness.Gain - witness.Expected) / witness.Spread)
            .Take(Shown)
            .OrderBy(witness => witness.Start)
            .Select(witness => Sentence(context, tankPlan, witness));
    }

    private static Phrase Sentence(in RuleContext context, Tank tank, in Witness witness)
    {
        var (start, end) = (new DateTimeOffset(witness.Start, TimeSpan.Zero), new DateTimeOffset(witness.End, TimeSpan.Zero));
        var key = (witness.Filling, witness.From == witness.To) switch
        {
            (true, false) => "passage.filling",
            (true, true) => "passage.filling.back",
            (false, false) => "passage.draining",
            (false, true) => "passage.draining.back",
        };
        return Phrase.Of(
            key, ("start", context.Clock(start)), ("end", context.Clock(end)), ("from", tank.Probes[witness.From].Name), ("to", tank.Probes[witness.To].Name),
            ("tank", tank.Id.Value), ("seen", Math.Round(Math.Abs(witness.Gain))), ("span", Asking.Lasting(end - start)),
            ("expected", Math.Round(Math.Abs(witness.Expected))), ("spread", Math.Round(witness.Spread)));
    }

    /// <summary>What else it may be; null when it can be nothing else.</summary>
    public static Phrase? Otherwise(Found found)
    {
        var others = found.Causes.Skip(1).Where(cause => cause.Probability >= WorthNaming)
            .Select(cause => (PhraseValue)Phrase.Of("otherwise.cause", ("cause", Terms.Cause(cause.Name)), ("share", Percent(cause.Probability)))).ToList();
        return others.Count == 0 ? null : Phrase.Of("otherwise", ("causes", PhraseList.Of(ListStyle.Or, others)));
    }

    public static ImmutableArray<Phrase> All(params IEnumerable<Phrase?>[] lines) => [.. lines.SelectMany(part => part).OfType<Phrase>()];

    /// <summary>Whole per cent of a share of 0 to 1.</summary>
    public static double Percent(double share) => Math.Round(100 * share, MidpointRounding.AwayFromZero);

    public static Estimate Interval(double value, double spread) => new(value, value - (BalanceAccount.Ninety * spread), value + (BalanceAccount.Ninety * spread));
}
