using System.Collections.Immutable;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api;

namespace TankWatch.Service.Pages.Estate;

/// <summary>The sentence that answers who needs somebody, and why.</summary>
internal static class EstateOpening
{
    /// <param name="asked">What was asked for.</param>
    /// <param name="all">How many buildings the reader may see.</param>
    /// <param name="found">Those that the search finds, in order.</param>
    /// <param name="listed">Those of them that the list is narrowed to, in order.</param>
    public static ImmutableArray<Said> Of(EstateQuery asked, int all, List<RankedSite> found, List<RankedSite> listed)
    {
        return (asked, listed) switch
        {
            _ when all == 0 => Said.Of("home.none"),
            _ when found.Count == 0 => Said.Of("home.no-match", ("search", Said.Name(asked.Search))),
            ({ Kind: { } kind }, _) => OfKind(kind, asked.Search, found.Count, listed),
            ({ Search: "" }, _) => all == 1 ? OfOne(found[0]) : OfMany(found, areMatches: false),
            _ => Said.Both(
                Said.Of("home.match", ("n", found.Count), ("all", all), ("search", Said.Name(asked.Search))), found is [var only] ? OfOne(only) : OfMany(found, areMatches: true)),
        };
    }

    /// <summary>For the browser's tab, where no name can be isolated.</summary>
    public static string Title(int all, List<RankedSite> found)
    {
        var needing = found.Count(site => site.NeedsHand);
        return needing == 0 || found.Count != all ? Words.Say("home.title") : Words.Say("home.title.needing", ("n", needing), ("all", all));
    }

    private static ImmutableArray<Said> OfKind(FindingKind kind, string search, int found, List<RankedSite> listed)
    {
        var (name, matching) = (Terms.Name(kind), Said.Name(search));
        return listed switch
        {
            [] when search == "" => Said.Of("home.kind.none", ("kind", name), ("all", found)),
            [] => Said.Of("home.kind.none.matching", ("kind", name), ("all", found), ("search", matching)),
            [var only] when search == "" => Said.Of("home.kind.one", ("kind", name), ("all", found), ("name", NameOf(only))),
            [var only] => Said.Of("home.kind.one.matching", ("kind", name), ("all", found), ("search", matching), ("name", NameOf(only))),
            [var first, ..] when search == "" => Said.Of("home.kind.many", ("kind", name), ("n", listed.Count), ("all", found), ("name", NameOf(first))),
            [var first, ..] => Said.Of("home.kind.many.matching", ("kind", name), ("n", listed.Count), ("all", found), ("search", matching), ("name", NameOf(first))),
        };
    }

    private static ImmutableArray<Said> OfOne(RankedSite site) => site switch
    {
        { NeedsHand: true } => Said.Of("home.one.needs", ("name", NameOf(site)), ("why", Reason(site))),
        { IsInHand: true } => Said.Of("home.one.in-hand", ("name", NameOf(site)), ("why", Reason(site))),
        _ when IsUnheard(site) => Said.Of("home.one.unheard", ("name", NameOf(site))),
        _ => Said.Of(HasAside(site) ? "home.one.aside" : "home.one.fine", ("name", NameOf(site))),
    };

    /// <param name="sites">More than one.</param>
    /// <param name="areMatches">They were told of just now, as those that a search finds.</param>
    private static ImmutableArray<Said> OfMany(List<RankedSite> sites, bool areMatches)
    {
        var (needing, inHand) = (sites.Count(site => site.NeedsHand), sites.Count(site => site.IsInHand));
        if (needing == 0)
        {
            return NoneNeeds(sites, areMatches, inHand);
        }

        var counted = (inHand, areMatches) switch
        {
            (0, false) => "home.many.needing",
            (0, true) => "home.many.needing.them",
            (_, false) => "home.many.needing.in-hand",
            (_, true) => "home.many.needing.in-hand.them",
        };
        return Said.Both(
            Said.Of(counted, ("n", needing), ("all", sites.Count), ("hand", inHand)),
            Said.Of(needing == 1 ? "home.many.only" : "home.many.first", ("name", NameOf(sites[0])), ("why", Reason(sites[0]))));
    }

    private static ImmutableArray<Said> NoneNeeds(List<RankedSite> sites, bool areMatches, int inHand)
    {
        var (aside, unheard) = (sites.Count(HasAside), sites.Count(IsUnheard));
        if (unheard == sites.Count)
        {
            return Said.Of(areMatches ? "home.many.unheard.them" : "home.many.unheard", ("all", sites.Count));
        }

        var said = Said.Of(
            (inHand, areMatches) switch
            {
                (0, false) => "home.many.none",
                (0, true) => "home.many.none.them",
                (_, false) => "home.many.none.in-hand",
                (_, true) => "home.many.none.in-hand.them",
            },
            ("all", sites.Count), ("hand", inHand));
        said = aside > 0 ? Said.Both(said, Said.Of("home.many.aside", ("n", aside))) : said;
        return unheard > 0 ? Said.Both(said, Said.Of("home.many.unheard-of", ("n", unheard))) : said;
    }

    private static Phrase Reason(RankedSite site) => Terms.Clause(
        WorstFirst.Order(site.Site.OpenAlerts.Where(WorstFirst.Presses)).First().Finding.Kind);

    private static bool HasAside(RankedSite site) => site.Site.OpenAlerts.Any(alert => alert.State is AlertState.Shelved or AlertState.OutOfService or AlertState.Suppressed);

    private static bool IsUnheard(RankedSite site) => SiteSentences.IsUnheard(site.Site.State);

    private static Said NameOf(RankedSite site) => Said.Name(site.Site.Plan.Name, $"/sites/{site.Site.Plan.Id}");
}
