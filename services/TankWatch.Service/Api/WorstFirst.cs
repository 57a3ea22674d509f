using System.Globalization;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Api;

/// <summary>
/// The order in which sites need somebody: what nobody has acknowledged before what is in hand, then the highest priority, then the one
/// that waits longest.
/// </summary>
internal static class WorstFirst
{
    /// <summary>Sorted; each rank is worked out once.</summary>
    public static List<RankedSite> Order(IEnumerable<SiteView> sites)
    {
        var ranked = sites.Select(site => new RankedSite(Rank.Of(site), site)).ToList();
        ranked.Sort(static (a, b) => a.Rank.CompareTo(b.Rank));
        return ranked;
    }

    public static IEnumerable<Alert> Order(IEnumerable<Alert> alerts) =>
        alerts.OrderByDescending(Presses).ThenByDescending(Waits).ThenByDescending(alert => alert.Finding.Priority).ThenBy(alert => alert.Finding.Since);

    /// <summary>How many stand at or before a rank, whether or not the site that had it is still there, or still has it.</summary>
    /// <param name="ranked">In order.</param>
    /// <param name="after">Null for the start of the list.</param>
    public static int CountUpTo(List<RankedSite> ranked, Rank? after)
    {
        var first = after is { } rank ? ranked.FindIndex(site => site.Rank.CompareTo(rank) > 0) : 0;
        return first < 0 ? ranked.Count : first;
    }

    /// <summary>Somebody has to do something: not put aside on purpose, and the condition still holds.</summary>
    public static bool Presses(Alert alert) => Waits(alert) || alert.State == AlertState.Acknowledged;

    /// <summary>Nobody has said yet that they know.</summary>
    public static bool Waits(Alert alert) => alert.State == AlertState.Unacknowledged;
}

/// <summary>A site and where it stands in the order.</summary>
internal readonly record struct RankedSite(Rank Rank, SiteView Site)
{
    /// <summary>Something presses that nobody has acknowledged.</summary>
    public bool NeedsHand => Rank.Need > Rank.MostInHand;

    /// <summary>Something presses, and somebody has acknowledged all of it.</summary>
    public bool IsInHand => Rank.Need is > 0 and <= Rank.MostInHand;
}

/// <summary>
/// The key that sites are ordered by, and so the cursor of a page: what stands after it in the present order comes next, however the
/// order has changed since.
/// </summary>
/// <param name="Need">
/// 0 when nothing presses, else the priority of the worst alert, counted from 1; <see cref="MostInHand"/> more when nobody has acknowledged it.
/// </param>
/// <param name="Since">Onset of that alert, UTC; the least value when nothing presses.</param>
/// <param name="Site">The site's id.</param>
public readonly record struct Rank(int Need, DateTimeOffset Since, string Site)
{
    /// <summary>The highest priority, counted from 1.</summary>
    public const int MostInHand = 4;

    private const char Between = '~'; // Stands in no id, and needs no escaping in an address.

    public static Rank Of(SiteView site)
    {
        var rank = new Rank(0, DateTimeOffset.MinValue, site.Plan.Id.Value);
        foreach (var alert in site.OpenAlerts)
        {
            var need = (int)alert.Finding.Priority + 1 + (WorstFirst.Waits(alert) ? MostInHand : 0);
            if (WorstFirst.Presses(alert) && (need > rank.Need || (need == rank.Need && alert.Finding.Since < rank.Since)))
            {
                rank = rank with { Need = need, Since = alert.Finding.Since };
            }
        }

        return rank;
    }

    public int CompareTo(Rank other)
    {
        var byNeed = other.Need.CompareTo(Need);
        var bySince = byNeed != 0 ? byNeed : Since.CompareTo(other.Since);
        return bySince != 0 ? bySince : string.CompareOrdinal(Site, other.Site);
    }

    /// <summary>Opaque to whoever is given it.</summary>
    public override string ToString() => string.Create(CultureInfo.InvariantCulture, $"{Need}{Between}{Since.UtcTicks}{Between}{Site}");

    /// <summary>Reads what <see cref="ToString"/> wrote, and nothing else.</summary>
    public static Rank? Find(string cursor) =>
        cursor.Split(Between) is [[>= '0' and <= '8'] need, var since, var site]
        && long.TryParse(since, NumberStyles.None, CultureInfo.InvariantCulture, out var ticks) && ticks <= DateTimeOffset.MaxValue.UtcTicks
        && IdRule.Holds(site)
            ? new(need[0] - '0', new(ticks, TimeSpan.Zero), site)
            : null;
}
