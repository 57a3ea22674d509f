using TankWatch.Core.Alerts;
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
    public static IReadOnlyList<Said> Of(EstateQuery asked, int all, List<RankedSite> found, List<RankedSite> listed)
    {
        var of = $"of {Buildings(found.Count)}";
        return (asked, listed) switch
        {
            _ when all == 0 => ["There is no building yet."],
            _ when found.Count == 0 => ["No building matches “", Said.Name(asked.Search), "”."],
            ({ Kind: { } kind }, []) => [$"{KindWords.Name(kind)}: none {of}", .. Matching(), " has this now."],
            ({ Kind: { } kind }, [var only]) => [$"{KindWords.Name(kind)}: 1 {of}", .. Matching(), ", ", NameOf(only), "."],
            ({ Kind: { } kind }, [var first, ..]) => [$"{KindWords.Name(kind)}: {Words.Number(listed.Count)} {of}", .. Matching(), ", ", NameOf(first), " first."],
            ({ Search: "" }, _) => all == 1 ? OfOne(found[0]) : OfMany(found, of),
            _ => [.. Match(), .. found is [var only] ? OfOne(only) : OfMany(found, "of them")],
        };

        IReadOnlyList<Said> Matching() => asked.Search == "" ? [] : [" that match “", Said.Name(asked.Search), "”"];

        IReadOnlyList<Said> Match() => [$"{Words.Number(found.Count)} of {Buildings(all)} {(found.Count == 1 ? "matches" : "match")} “", Said.Name(asked.Search), "”. "];
    }

    /// <summary>For the browser's tab, where no name can be isolated.</summary>
    public static string Title(int all, List<RankedSite> found)
    {
        var needing = found.Count(site => site.NeedsHand);
        return needing == 0 || found.Count != all ? "TankWatch: buildings" : $"TankWatch: {Words.Number(needing)} of {Buildings(all)} {Need(needing)} a hand";
    }

    private static IReadOnlyList<Said> OfOne(RankedSite site) => site switch
    {
        { NeedsHand: true } => [NameOf(site), " needs a hand: ", Reason(site), "."],
        { IsInHand: true } => [NameOf(site), " is in hand: ", Reason(site), "."],
        _ when IsUnheard(site) => ["Nothing has been heard of ", NameOf(site), " yet."],
        _ => [NameOf(site), HasAside(site) ? " needs no hand; something is put aside there." : " needs no hand."],
    };

    private static IReadOnlyList<Said> OfMany(List<RankedSite> sites, string of)
    {
        var (needing, inHand) = (sites.Count(site => site.NeedsHand), sites.Count(site => site.IsInHand));
        if (needing == 0)
        {
            return [NoneNeeds(sites, of, inHand)];
        }

        return
        [
            $"{Words.Number(needing)} {of} {Need(needing)} a hand{(inHand == 0 ? "" : $", {InHand(inHand)}")}. ",
            NameOf(sites[0]), needing == 1 ? ": " : " first: ", Reason(sites[0]), ".",
        ];
    }

    private static string NoneNeeds(List<RankedSite> sites, string of, int inHand)
    {
        var (aside, unheard) = (sites.Count(HasAside), sites.Count(IsUnheard));
        return unheard == sites.Count ? $"Nothing has been heard {of} yet." : $"None {of} needs a hand{(inHand == 0 ? "" : $"; {InHand(inHand)}")}."
            + (aside > 0 ? $" At {Words.Number(aside)} something is put aside." : "")
            + (unheard > 0 ? $" {Words.Number(unheard)} {(unheard == 1 ? "has" : "have")} not been heard of yet." : "");
    }

    private static string Reason(RankedSite site) => KindWords.Clause(
        WorstFirst.Order(site.Site.OpenAlerts.Where(WorstFirst.Presses)).First().Finding.Kind);

    private static bool HasAside(RankedSite site) => site.Site.OpenAlerts.Any(alert => alert.State is AlertState.Shelved or AlertState.OutOfService or AlertState.Suppressed);

    private static bool IsUnheard(RankedSite site) => SiteSentences.IsUnheard(site.Site.State);

    private static Said NameOf(RankedSite site) => Said.Name(site.Site.Plan.Name, $"/sites/{site.Site.Plan.Id}");

    private static string Buildings(int count) => count == 1 ? "1 building" : $"{Words.Number(count)} buildings";

    private static string InHand(int count) => $"{Words.Number(count)} {(count == 1 ? "is" : "are")} in hand";

    private static string Need(int count) => count == 1 ? "needs" : "need";
}
