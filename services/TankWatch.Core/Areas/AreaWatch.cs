using System.Collections.Immutable;
using TankWatch.Core.Findings;
using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Areas;

/// <summary>A site as its area sees it.</summary>
/// <param name="Site">Its id.</param>
/// <param name="Name">As people call it.</param>
/// <param name="Area">As its file names it; null when it names none.</param>
/// <param name="OutSince">Since when its mains are off or none of its units is heard, UTC; null when neither is so.</param>
/// <param name="IsDark">Its units say that the mains are off; else they only say nothing.</param>
public sealed record SiteSign(SiteId Site, string Name, string? Area, DateTimeOffset? OutSince, bool IsDark);

/// <summary>An area that is out.</summary>
/// <param name="Finding">What is told of it.</param>
/// <param name="Sites">The sites that went out with it, by id; more may join while it lasts.</param>
/// <param name="BackSince">Since when too few of them are out; null while enough are.</param>
public sealed record AreaOutage(Finding Finding, ImmutableSortedSet<string> Sites, DateTimeOffset? BackSince);

/// <summary>What is known of all areas. A function of signs and of the wall clock, kept apart from any one site.</summary>
/// <param name="Open">By the name of the area, or the id of a learnt group.</param>
/// <param name="Learnt">From which sites went out together before.</param>
/// <param name="Counted">Sites out at present, whose outage has been counted.</param>
public sealed record AreaState(
    ImmutableSortedDictionary<string, AreaOutage> Open, CoOccurrence Learnt, ImmutableSortedSet<string> Counted)
{
    public static readonly AreaState Start = new(
        ImmutableSortedDictionary.Create<string, AreaOutage>(StringComparer.Ordinal), CoOccurrence.None, ImmutableSortedSet.Create<string>(StringComparer.Ordinal));

    /// <summary>The learnt area of each site that belongs to one, by the site. Whoever joins while an area is out does not change its name.</summary>
    public Dictionary<string, string> LearntAreas()
    {
        var areas = Learnt.AreaOf();
        foreach (var known in Open.Keys)
        {
            if (areas.TryGetValue(known, out var renamed) && renamed != known)
            {
                foreach (var site in areas.Where(pair => pair.Value == renamed).Select(pair => pair.Key).ToList())
                {
                    areas[site] = known;
                }
            }
        }

        return areas;
    }
}

/// <summary>
/// Judges areas: <c>area-outage</c>, one for many sites. A cut of the supply, or of the network that carries the units' messages, puts out
/// many at once; each of them alone would look like a fault of its own.
/// </summary>
public static class AreaWatch
{
    /// <summary>Sites that go out within this of each other go out together: a broker notices a broken link only after a while.</summary>
    public static readonly TimeSpan Window = TimeSpan.FromMinutes(5);

    /// <summary>A flicker is nobody's outage, and units on a mobile network come back within a minute or two.</summary>
    private static readonly TimeSpan DarkFor = TimeSpan.FromSeconds(30), SilentFor = TimeSpan.FromMinutes(3);

    /// <summary>Supplies come back in steps, and go again.</summary>
    private static readonly TimeSpan ClearAfter = TimeSpan.FromMinutes(2);

    /// <summary>Two, and a third of the area's sites, or so many whatever its size: by chance it happens less than once in a hundred outages.</summary>
    private const int Few = 2, Many = 5, OneIn = 3;

    /// <param name="state">Before.</param>
    /// <param name="signs">Of every site.</param>
    /// <param name="now">Wall clock, UTC, while a broker delivers: without one every site would seem out.</param>
    /// <returns>The state after, and the findings that are open or were cleared by this step.</returns>
    public static (AreaState Next, ImmutableArray<Finding> Findings) Judge(AreaState state, IReadOnlyCollection<SiteSign> signs, DateTimeOffset now)
    {
        state = Learn(state, signs, now);
        var learnt = state.LearntAreas();
        var (open, findings) = (state.Open.ToBuilder(), ImmutableArray.CreateBuilder<Finding>());
        foreach (var area in signs.Select(sign => (Sign: sign, Area: sign.Area ?? learnt.GetValueOrDefault(sign.Site.Value))).Where(pair => pair.Area is not null)
            .GroupBy(pair => pair.Area!, pair => pair.Sign, StringComparer.Ordinal))
        {
            if (open.TryGetValue(area.Key, out var outage))
            {
                var next = Go(outage, [.. area], now);
                findings.Add(next.Finding);
                if (next != outage)
                {
                    open[area.Key] = next; // Else the state stays the same object, and nothing is to be saved.
                }
            }
            else if (Begin(area.Key, [.. area], now) is { } begun)
            {
                findings.Add(begun.Finding);
                open[area.Key] = begun;
            }
        }

        // What has ended is told once, and an area whose sites are all gone has ended too.
        foreach (var (name, outage) in state.Open.Where(pair => !signs.Any(sign => (sign.Area ?? learnt.GetValueOrDefault(sign.Site.Value)) == pair.Key)))
        {
            findings.Add(outage.Finding with { ClearedAt = now });
            open.Remove(name);
        }

        open.RemoveRange([.. open.Where(pair => !pair.Value.Finding.IsOpen).Select(pair => pair.Key)]);
        return (state with { Open = open.ToImmutable() }, findings.ToImmutable());
    }

    private static AreaState Learn(AreaState state, IReadOnlyCollection<SiteSign> signs, DateTimeOffset now)
    {
        // Each outage is counted when the last that may belong to it is in.
        var due = signs.Where(sign => sign.OutSince is { } since && now - since >= Window && !state.Counted.Contains(sign.Site.Value)).ToList();
        var learnt = state.Learnt;
        while (due.Count > 0)
        {
            var first = due.Min(sign => sign.OutSince)!.Value;
            var together = due.FindAll(sign => sign.OutSince - first <= Window);
            learnt = learnt.Add([.. together.Select(sign => sign.Site.Value)]);
            state = state with { Counted = state.Counted.Union(together.Select(sign => sign.Site.Value)) };
            due.RemoveAll(together.Contains);
        }

        return state with { Learnt = learnt, Counted = state.Counted.Except(signs.Where(sign => sign.OutSince is null).Select(sign => sign.Site.Value)) };
    }

    private static AreaOutage? Begin(string area, IReadOnlyList<SiteSign> sites, DateTimeOffset now)
    {
        var starts = sites.Where(site => site.OutSince is { } since && now - since >= (site.IsDark ? DarkFor : SilentFor)).OrderBy(site => site.OutSince).ToList();
        var best = starts.Select((first, i) => starts.Skip(i).TakeWhile(site => site.OutSince - first.OutSince <= Window).ToList()).MaxBy(window => window.Count);
        if (best is null || best.Count < Few || (best.Count < Many && best.Count * OneIn < sites.Count))
        {
            return null;
        }

        var since = best[0].OutSince!.Value;
        return new(
            new(FindingKind.AreaOutage, new(area), Priority.High, since, now, null, null, [], Text(area, best, sites.Count)),
            [.. best.Select(site => site.Site.Value)], null);
    }

    private static AreaOutage Go(AreaOutage outage, IReadOnlyList<SiteSign> sites, DateTimeOffset now)
    {
        var joined = outage.Sites.Union(sites.Where(site => site.OutSince >= outage.Finding.Since).Select(site => site.Site.Value));
        var stillOut = sites.Count(site => site.OutSince is not null && joined.Contains(site.Site.Value));
        var isBack = stillOut < Few || stillOut * OneIn < joined.Count;
        var backSince = isBack ? outage.BackSince ?? now : (DateTimeOffset?)null;
        return new(now - backSince >= ClearAfter ? outage.Finding with { ClearedAt = now } : outage.Finding, joined, backSince);
    }

    private static FindingText Text(string area, List<SiteSign> sites, int all) => new(
        Phrase.Of("area-outage.summary", ("area", area), ("n", sites.Count), ("all", all)),
        [Phrase.Of("area-outage.evidence", ("sites", PhraseList.Of(ListStyle.Comma, sites.Take(20).Select(site => (PhraseValue)site.Name))))],
        Phrase.Each("area-outage.advice.supplier", "area-outage.advice.network", "area-outage.advice.save"),
        Cautions.Pump);
}
