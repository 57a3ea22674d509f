using TankWatch.Core;
using TankWatch.Core.Alerts.Load;
using TankWatch.Core.Alerts.Outcomes;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <summary>The load of one person, or of one site.</summary>
/// <param name="Id">The mail address, or the site's id.</param>
/// <param name="Name">As site files give it; may hold anything.</param>
/// <param name="Load">Of this one alone: what two people were told counts once for each of them.</param>
public sealed record NamedLoad(string Id, string Name, AlertLoad Load);

/// <summary>How much people were told: for a page, the API and a report.</summary>
/// <param name="Load">Of all that was asked for.</param>
/// <param name="Site">The only site asked for, with its name; null for all that the reader may see.</param>
/// <param name="Person">The only person asked for; null for all.</param>
/// <param name="People">Those who were told anything by letter, who heard most first; at most <see cref="LoadReader.MostNamed"/>.</param>
/// <param name="Sites">Those of which people were told anything, the loudest first; at most as many. What is of no one site is not among them.</param>
/// <param name="SiteNames">Names of all sites the reader may see, by id.</param>
public sealed record LoadReport(
    AlertLoad Load, NamedLoad? Site, NamedLoad? Person, IReadOnlyList<NamedLoad> People, IReadOnlyList<NamedLoad> Sites, IReadOnlyDictionary<string, string> SiteNames);

/// <summary>Reads how much people were told, and how often it was right.</summary>
internal sealed class LoadReader(LedgerStore ledger, SiteDirectory directory, TimeProvider time)
{
    public const int MostNamed = 100;

    /// <param name="caller">Sees its own sites alone.</param>
    /// <param name="site">Of this one alone; one that the caller sees.</param>
    /// <param name="person">A mail address; null for everybody.</param>
    /// <param name="from">Null for 30 days before the end, or for when anything was first known if that is later: days of nothing would thin the average.</param>
    /// <param name="to">Null for now.</param>
    /// <returns>Null when the time ends before it begins.</returns>
    public LoadReport? Read(Caller caller, SiteId? site, string? person, DateTimeOffset? from, DateTimeOffset? to)
    {
        var end = to ?? time.GetUtcNow();
        var start = from ?? UsualStart(site ?? caller.Site, end);
        if (end <= start)
        {
            return null;
        }

        var plans = directory.Sites.Select(view => view.Plan).Where(plan => caller.Sees(plan.Id)).ToList();
        var siteNames = plans.ToDictionary(plan => plan.Id.Value, plan => plan.Name);
        var personNames = plans.SelectMany(plan => plan.Contacts).Where(contact => contact.Email is not null)
            .DistinctBy(contact => contact.Email, StringComparer.OrdinalIgnoreCase).ToDictionary(contact => contact.Email!, contact => contact.Name, StringComparer.OrdinalIgnoreCase);
        var all = ledger.ListAnnunciations(site ?? caller.Site, start, end);
        var heard = all.SelectMany(one => one.Letters, (one, letter) => (Who: letter.Address, Told: one.Told with { At = letter.At })).ToList();
        List<Annunciation> told = person is null
            ? [.. all.Select(one => one.Told).Where(one => !one.IsPassedOn)]
            : [.. heard.Where(one => string.Equals(one.Who, person, StringComparison.OrdinalIgnoreCase)).Select(one => one.Told)];
        var whole = Measure(told);
        return new(
            whole,
            site is { } only ? new(only.Value, siteNames.GetValueOrDefault(only.Value, only.Value), whole) : null,
            person is not null ? new(person, personNames.GetValueOrDefault(person, person), whole) : null,
            Named(heard, personNames), Named(told.Where(one => !one.Source.Site.IsNone).Select(one => (one.Source.Site.Value, one)), siteNames), siteNames);

        AlertLoad Measure(IEnumerable<Annunciation> some) => LoadMeasure.Of([.. some], start, end);

        IReadOnlyList<NamedLoad> Named(IEnumerable<(string Id, Annunciation Told)> some, Dictionary<string, string> names) =>
        [
            .. some.GroupBy(one => one.Id, one => one.Told, StringComparer.OrdinalIgnoreCase)
                .Select(group => new NamedLoad(group.Key, names.GetValueOrDefault(group.Key, group.Key), Measure(group))).Where(named => named.Load.Count > 0)
                .OrderByDescending(named => named.Load.Count).ThenBy(named => named.Id, StringComparer.Ordinal).Take(MostNamed),
        ];
    }

    public AlertRecord ReadRecord(Caller caller, SiteId? site) => AlertRecord.Of(ledger.ListClosed(site ?? caller.Site));

    private DateTimeOffset UsualStart(SiteId? site, DateTimeOffset end)
    {
        if (end < DateTimeOffset.UnixEpoch)
        {
            return end; // Nothing is known of then, and the calendar may have no days before it.
        }

        var (earliest, latest) = (end - LoadTargets.Window, end - TimeSpan.FromDays(1));
        var known = ledger.FindFirstDay(site) is { } day ? new DateTimeOffset(day.ToDateTime(TimeOnly.MinValue), TimeSpan.Zero) : latest;
        return known > latest ? latest : known < earliest ? earliest : known;
    }
}
