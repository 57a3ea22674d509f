using System.Collections.Immutable;

namespace TankWatch.Core.Areas;

/// <summary>
/// Which sites go dark together, learnt from those that did: sites whose files name no area may share a feeder all the same. Two belong
/// together once they went out together three times and at least in 6 of 10 of the outages of the one that has fewer (our choice, no source).
/// </summary>
/// <param name="Outages">How often each site went out.</param>
/// <param name="Together">How often two did within <see cref="AreaWatch.Window"/>; the first id is the lower.</param>
public sealed record CoOccurrence(
    ImmutableSortedDictionary<string, int> Outages, ImmutableSortedDictionary<(string First, string Second), int> Together)
{
    private const int Enough = 3;
    private const double Share = 0.6;

    /// <summary>Of a larger outage not every pair is counted, but each site with the next: that joins them as well.</summary>
    private const int AllPairsUpTo = 12;

    public static readonly CoOccurrence None = new(
        ImmutableSortedDictionary.Create<string, int>(StringComparer.Ordinal), ImmutableSortedDictionary<(string, string), int>.Empty.WithComparers(new PairOrder()));

    /// <summary>Sites that went out together, once for each time.</summary>
    public CoOccurrence Add(IReadOnlyList<string> sites)
    {
        var sorted = sites.Order(StringComparer.Ordinal).ToList();
        var outages = Outages.SetItems(sorted.Select(site => KeyValuePair.Create(site, Outages.GetValueOrDefault(site) + 1)));
        var together = Together.ToBuilder();
        for (var i = 0; i < sorted.Count; i++)
        {
            for (var j = i + 1; j < (sorted.Count <= AllPairsUpTo ? sorted.Count : Math.Min(i + 2, sorted.Count)); j++)
            {
                together[(sorted[i], sorted[j])] = together.GetValueOrDefault((sorted[i], sorted[j])) + 1;
            }
        }

        return new(outages, together.ToImmutable());
    }

    /// <summary>The group of each site that belongs to one, by the site.</summary>
    public Dictionary<string, string> AreaOf() =>
        Groups().SelectMany(group => group.Value.Select(site => (site, group.Key))).ToDictionary(pair => pair.site, pair => pair.Key, StringComparer.Ordinal);

    /// <summary>The sites that belong together, each group by its lowest id.</summary>
    public ImmutableSortedDictionary<string, ImmutableArray<string>> Groups()
    {
        var root = new Dictionary<string, string>(StringComparer.Ordinal);
        foreach (var ((first, second), times) in Together)
        {
            if (times >= Enough && times >= Share * Math.Min(Outages.GetValueOrDefault(first), Outages.GetValueOrDefault(second)))
            {
                var (a, b) = (Find(first), Find(second));
                root[string.CompareOrdinal(a, b) < 0 ? b : a] = string.CompareOrdinal(a, b) < 0 ? a : b;
            }
        }

        return root.Keys.Concat(root.Values).Distinct(StringComparer.Ordinal).GroupBy(Find, StringComparer.Ordinal)
            .ToImmutableSortedDictionary(group => group.Key, group => group.Order(StringComparer.Ordinal).ToImmutableArray(), StringComparer.Ordinal);

        string Find(string site)
        {
            while (root.TryGetValue(site, out var above) && above != site)
            {
                site = above;
            }

            return site;
        }
    }

    private sealed class PairOrder : IComparer<(string First, string Second)>
    {
        public int Compare((string First, string Second) x, (string First, string Second) y) =>
            string.CompareOrdinal(x.First, y.First) is var first and not 0 ? first : string.CompareOrdinal(x.Second, y.Second);
    }
}
