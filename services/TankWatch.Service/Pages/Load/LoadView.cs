using TankWatch.Core.Alerts.Load;
using TankWatch.Core.Alerts.Outcomes;
using TankWatch.Service.Api;

namespace TankWatch.Service.Pages.Load;

/// <summary>A figure beside the standard's.</summary>
/// <param name="Name">What is counted.</param>
/// <param name="Value">How it is.</param>
/// <param name="Standard">How it should be.</param>
/// <param name="IsOver">It is not.</param>
public sealed record LoadFigure(string Name, string Value, string Standard, bool IsOver);

/// <summary>A source that was heard often.</summary>
/// <param name="Name">What it says, and where: names in it may hold anything.</param>
/// <param name="Heard">"3 times, 12 % of all".</param>
public sealed record LoadLine(IReadOnlyList<Said> Name, string Heard);

/// <summary>How often alerts of one kind were right.</summary>
public sealed record RecordLine(string Kind, string Right, string Wrong, string Unsaid, string Sure, string Brier);

/// <summary>What is said of the load of alerts, for a page as for a report.</summary>
/// <param name="Of">Whose: a site or a person; empty for all that the reader may see.</param>
/// <param name="Verdict">One sentence.</param>
/// <param name="Counted">What it rests on.</param>
/// <param name="From">UTC.</param>
/// <param name="To">UTC.</param>
/// <param name="Zone">The site's; UTC where there are many.</param>
/// <param name="Worst">The ten worst sources, the worst first.</param>
/// <param name="Figures">Beside the standard's.</param>
/// <param name="Standing">Alerts that stood for more than a day, the longest first.</param>
/// <param name="People">Who was told most; empty where one person was asked for.</param>
/// <param name="Sites">The loudest; empty where one site was asked for.</param>
/// <param name="RecordLead">How often alerts were right.</param>
/// <param name="Record">The same by kind.</param>
public sealed record LoadView(
    IReadOnlyList<Said> Of, string Verdict, string Counted, DateTimeOffset From, DateTimeOffset To, TimeZoneInfo Zone, IReadOnlyList<LoadLine> Worst,
    IReadOnlyList<LoadFigure> Figures, IReadOnlyList<IReadOnlyList<Said>> Standing, IReadOnlyList<LoadLine> People, IReadOnlyList<LoadLine> Sites, string RecordLead,
    IReadOnlyList<RecordLine> Record)
{
    private const int Shown = 10;

    /// <summary>Of some of what the reader sees, so that there is a way back to all of it.</summary>
    public bool IsNarrowed => Of.Count > 0;

    /// <param name="report">What was counted.</param>
    /// <param name="record">How often it was right.</param>
    /// <param name="zone">Of the times shown.</param>
    internal static LoadView Tell(LoadReport report, AlertRecord record, TimeZoneInfo zone)
    {
        var load = report.Load;
        return new(
            OfWhom(report), LoadWords.Verdict(load), LoadWords.Counted(load, report.Person is not null), load.From, load.To, zone,
            [.. load.Worst.Select(source => LineOf(source, report))], LoadWords.Figures(load),
            [.. load.Stale.Take(Shown).Select(told => NameOf(told.Source, told.Alert, report))],
            report.Person is null ? [.. report.People.Take(Shown).Select(person => LineOf(person, "person", report))] : [],
            report.Site is null ? [.. report.Sites.Take(Shown).Select(site => LineOf(site, "site", report))] : [],
            LoadWords.RecordLead(record.Total), [.. record.Kinds.Select(pair => new RecordLine(
                KindWords.Name(pair.Key), LoadWords.Shown(pair.Value.Right), Words.Number(pair.Value.Wrong), Words.Number(pair.Value.Unsaid),
                LoadWords.Shown(pair.Value.Causes.Sure), LoadWords.Brier(pair.Value.Causes.Brier)))]);
    }

    private static List<Said> OfWhom(LoadReport report)
    {
        var of = new List<Said>();
        if (report.Site is { } site)
        {
            of.Add(Said.Name(site.Name, $"/sites/{site.Id}"));
        }

        if (report.Person is { } person)
        {
            of.AddRange(of.Count == 0 ? [] : (Said[])[Words.Say("list.comma")]);
            of.Add(Said.Name(person.Name));
        }

        return of;
    }

    private static LoadLine LineOf(SourceLoad source, LoadReport report) => new([.. NameOf(source.Source, source.NewestAlert, report), Words.Say("list.comma")], LoadWords.Heard(source));

    private static IReadOnlyList<Said> NameOf(AlertSource source, string alert, LoadReport report)
    {
        var site = source.Site.Value;
        IReadOnlyList<Said> where = report.Site is null && !source.Site.IsNone ? [Said.Name(report.SiteNames.GetValueOrDefault(site, site), $"/sites/{site}"), Words.Say("list.comma")] : [];
        return [.. where, Said.Name(source.Device.Value), ": ", new(KindWords.Name(source.Kind), Address: $"/alerts/{alert}")];
    }

    private static LoadLine LineOf(NamedLoad named, string by, LoadReport report)
    {
        var other = by == "person" ? report.Site is { } site ? $"&site={site.Id}" : "" : report.Person is { } person ? $"&person={Uri.EscapeDataString(person.Id)}" : "";
        return new(
            [Said.Name(named.Name, $"/load?{by}={Uri.EscapeDataString(named.Id)}{other}"), ": "],
            LoadWords.Named(named.Load));
    }
}
