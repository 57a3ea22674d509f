using TankWatch.Core.Findings;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Estate;

/// <summary>What the page says, in words; how it looks is the page's business.</summary>
/// <param name="Opening">Who needs somebody, and why; or what was asked wrongly.</param>
/// <param name="Title">For the browser's tab.</param>
/// <param name="Asked">What was asked for.</param>
/// <param name="All">How many buildings the reader may see.</param>
/// <param name="Choices">What the list can be narrowed to; empty when nothing is wrong.</param>
/// <param name="Buildings">Those of this page, worst first.</param>
/// <param name="Range">Which of how many: "26 to 50 of 1 000"; empty when all stand here.</param>
/// <param name="Next">The page that follows; null at the end.</param>
/// <param name="NextCount">How many stand on it.</param>
public sealed record EstateView(
    IReadOnlyList<Said> Opening, string Title, EstateQuery Asked, int All, IReadOnlyList<Choice> Choices, IReadOnlyList<BuildingView> Buildings,
    string Range, string? Next, int NextCount)
{
    public const int PageLength = 25;

    /// <summary>What is of no one building, newest first: outages of areas, faults of this service.</summary>
    public IReadOnlyList<Core.Alerts.Alert> Beyond { get; init; } = [];

    public bool IsFault => Asked.Fault.Count > 0;

    /// <param name="sites">All that the reader may see.</param>
    /// <param name="asked">Which of them.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static EstateView Of(IReadOnlyList<SiteView> sites, EstateQuery asked, DateTimeOffset now)
    {
        var search = new BuildingSearch(asked.Search);
        var found = WorstFirst.Order(sites.Where(site => search.Finds(site.Plan)));
        var choices = Choice.Of(asked, found);
        if (asked.Fault.Count > 0)
        {
            return new(asked.Fault, Words.Say("home.title"), asked, sites.Count, choices, [], "", null, 0);
        }

        var listed = asked.Wrong == "" ? found : found.FindAll(site => asked.Kind is { } kind ? Choice.Has(site.Site, kind) : site.Rank.Need > 0);
        var first = WorstFirst.CountUpTo(listed, asked.After);
        var shown = listed.GetRange(first, Math.Min(PageLength, listed.Count - first));
        var left = listed.Count - first - shown.Count;
        return new(
            EstateOpening.Of(asked, sites.Count, found, listed), EstateOpening.Title(sites.Count, found), asked, sites.Count, choices,
            [.. shown.Select(site => BuildingView.Of(site.Site, now))], RangeOf(first, shown.Count, listed.Count),
            left > 0 ? (asked with { After = shown[^1].Rank }).ToString() : null, Math.Min(PageLength, left));
    }

    private static string RangeOf(int first, int shown, int of) => (shown, of) switch
    {
        _ when shown == of => "",
        (0, _) => Words.Say("home.range.past", ("n", of)),
        _ => Words.Say("home.range", ("from", first + 1), ("to", first + shown), ("all", of)),
    };
}

/// <summary>Something that the list can be narrowed to.</summary>
/// <param name="Name">In plain words.</param>
/// <param name="Count">How many of the buildings found it concerns.</param>
/// <param name="Address">The list narrowed to it.</param>
/// <param name="IsPresent">The list is.</param>
public sealed record Choice(string Name, int Count, string Address, bool IsPresent)
{
    private static readonly FindingKind[] Kinds = Enum.GetValues<FindingKind>();

    /// <summary>All, whatever has something wrong, and each kind that is open now or asked for; nothing where there is nothing to choose.</summary>
    internal static IReadOnlyList<Choice> Of(EstateQuery asked, List<RankedSite> found)
    {
        var (needing, counts) = (0, new int[Kinds.Length]);
        foreach (var site in found)
        {
            needing += site.Rank.Need > 0 ? 1 : 0;
            for (var kinds = site.Rank.Need > 0 ? KindsOf(site.Site) : 0; kinds != 0; kinds &= kinds - 1)
            {
                counts[System.Numerics.BitOperations.TrailingZeroCount(kinds)]++;
            }
        }

        if (needing == 0 && asked.Wrong == "")
        {
            return [];
        }

        return
        [
            To("", Words.Say("home.choice.all"), found.Count),
            To(EstateQuery.AnythingWrong, Words.Say("home.choice.any"), needing),
            .. Kinds.Where(kind => counts[(int)kind] > 0 || kind == asked.Kind).Select(kind => To(FindingNames.Of(kind), KindWords.Name(kind), counts[(int)kind])),
        ];

        Choice To(string wrong, string name, int count) =>
            new(name, count, new EstateQuery(asked.Search, wrong, null, null, []).ToString(), wrong == asked.Wrong && asked.Fault.Count == 0);
    }

    /// <summary>Whether an alert of a kind presses at a site.</summary>
    public static bool Has(SiteView site, FindingKind kind) => (KindsOf(site) & (1u << (int)kind)) != 0;

    private static uint KindsOf(SiteView site)
    {
        var kinds = 0u;
        foreach (var alert in site.OpenAlerts)
        {
            kinds |= WorstFirst.Presses(alert) ? 1u << (int)alert.Finding.Kind : 0;
        }

        return kinds;
    }
}
