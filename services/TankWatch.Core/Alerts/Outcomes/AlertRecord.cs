using System.Collections.Immutable;
using TankWatch.Core.Findings;

namespace TankWatch.Core.Alerts.Outcomes;

/// <summary>How often something was so.</summary>
/// <param name="Hits">Of <paramref name="Of"/>.</param>
/// <param name="Of">0 when there was no occasion.</param>
public readonly record struct Tally(int Hits, int Of)
{
    private const double Z = 1.644854; // Normal, two-sided 90 %.

    /// <summary>The share, 0 to 1, with the interval that holds the true one nine times in ten; null without an occasion.</summary>
    public Estimate? Share => Of == 0 ? null : Wilson(Hits, Of, Z);

    /// <summary>Wilson's score interval of a share (Wilson, 1927; Newcombe, 1998), which holds for few and for none as well.</summary>
    /// <param name="hits">Of <paramref name="trials"/>.</param>
    /// <param name="trials">At least 1.</param>
    /// <param name="z">Quantile of the normal distribution for one end.</param>
    internal static Estimate Wilson(int hits, int trials, double z)
    {
        var share = (double)hits / trials;
        var middle = share + (z * z / (2 * trials));
        var half = z * Math.Sqrt((share * (1 - share) / trials) + (z * z / (4.0 * trials * trials)));
        var scale = 1 + (z * z / trials);
        return new(share, Math.Max(0, (middle - half) / scale), Math.Min(1, (middle + half) / scale));
    }
}

/// <summary>What was found on site where an alert of a kind was closed.</summary>
/// <param name="Closed">How many were.</param>
/// <param name="Right">The kind was so, among those whose cause has a name that counts.</param>
/// <param name="Causes">How causes that were said came out, one by one; see <see cref="CauseScore"/>.</param>
public sealed record KindRecord(int Closed, Tally Right, CauseScore Causes)
{
    public static KindRecord Nothing { get; } = new(0, default, default);

    public int Wrong => Right.Of - Right.Hits;

    /// <summary>Told in words only.</summary>
    public int Unsaid => Closed - Right.Of;
}

/// <summary>How well probabilities of causes were said.</summary>
/// <param name="Said">Causes that were weighed and of which it was found whether they were so.</param>
/// <param name="Sure">Of those said with at least 0.8, how many were so.</param>
/// <param name="SquaredErrors">Summed over all of them.</param>
public readonly record struct CauseScore(int Said, Tally Sure, double SquaredErrors)
{
    /// <summary>What counts as said surely.</summary>
    public const double SaidSurely = 0.8;

    /// <summary>Mean square of probability less outcome (Brier, 1950; each cause is a forecast of its own): 0 is perfect, 0.25 is what 0.5 for all earns; null for none.</summary>
    public double? Brier => Said == 0 ? null : SquaredErrors / Said;
}

/// <summary>How often alerts were right, by what was found where they were closed.</summary>
/// <param name="Kinds">Those of which one was closed.</param>
/// <param name="Total">Of all.</param>
public sealed record AlertRecord(ImmutableSortedDictionary<FindingKind, KindRecord> Kinds, KindRecord Total)
{
    /// <param name="alerts">Any; those that were not closed with a cause found are left out.</param>
    public static AlertRecord Of(IEnumerable<Alert> alerts)
    {
        var kinds = ImmutableSortedDictionary.CreateBuilder<FindingKind, KindRecord>();
        var total = KindRecord.Nothing;
        foreach (var alert in alerts)
        {
            if (alert.CauseFound is { } found)
            {
                kinds[alert.Finding.Kind] = With(kinds.GetValueOrDefault(alert.Finding.Kind, KindRecord.Nothing), alert.Finding, found);
                total = With(total, alert.Finding, found);
            }
        }

        return new(kinds.ToImmutable(), total);
    }

    private static KindRecord With(KindRecord known, Finding finding, string found) => FoundCauses.Judge(finding.Kind, found) switch
    {
        FindingOutcome.Unsaid => known with { Closed = known.Closed + 1 },
        var outcome => new(
            known.Closed + 1, new(known.Right.Hits + (outcome == FindingOutcome.Right ? 1 : 0), known.Right.Of + 1), With(known.Causes, finding, found)),
    };

    private static CauseScore With(CauseScore score, Finding finding, string found)
    {
        // "A slow fill" answers a slow fill, and says nothing of why.
        if (found == FindingNames.Of(finding.Kind) && finding.Causes.All(cause => cause.Name != found))
        {
            return score;
        }

        foreach (var (name, probability) in finding.Causes.Where(cause => FoundCauses.All.Contains(cause.Name)))
        {
            var so = name == found ? 1 : 0;
            var sure = probability >= CauseScore.SaidSurely ? 1 : 0;
            score = new(
                score.Said + 1, new(score.Sure.Hits + (sure * so), score.Sure.Of + sure), score.SquaredErrors + ((probability - so) * (probability - so)));
        }

        return score;
    }
}
