using System.Globalization;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages;

/// <summary>What the page says, in words; how it looks is the page's business.</summary>
/// <param name="Opening">How many buildings need somebody.</param>
/// <param name="SignedInAs">Null where nobody signs in.</param>
/// <param name="Buildings">Worst first.</param>
/// <param name="Mails">Newest first; null where they are not shown.</param>
public sealed record EstateView(string Opening, string? SignedInAs, IReadOnlyList<BuildingView> Buildings, IReadOnlyList<MailView>? Mails)
{
    internal static EstateView Of(IEnumerable<SiteView> sites, string? signedInAs, IReadOnlyList<MailView>? mails)
    {
        var ordered = WorstFirst.Order(sites);
        var pressing = ordered.Count(site => site.OpenAlerts.Any(WorstFirst.Presses));
        var opening = (ordered.Count, pressing) switch
        {
            (0, _) => "There is no building yet: 'tankwatch site import FILE' adds one.",
            (_, 0) => "Nothing is wrong that we know of.",
            (_, 1) => "One of them has something wrong.",
            _ => $"{pressing} of {ordered.Count} have something wrong; the worst stands first.",
        };
        return new(opening, signedInAs, [.. ordered.Select(BuildingView.Of)], mails);
    }
}

/// <param name="Id">The site's id.</param>
/// <param name="Name">As its file says; may hold anything.</param>
/// <param name="Water">One sentence a tank.</param>
/// <param name="Pumps">One sentence a pump.</param>
/// <param name="Heard">How old all this is.</param>
/// <param name="Alerts">Most pressing first.</param>
public sealed record BuildingView(string Id, string Name, string Water, string Pumps, string Heard, IReadOnlyList<AlertView> Alerts)
{
    internal static BuildingView Of(SiteView site) => new(
        site.Plan.Id.Value, site.Plan.Name,
        SiteSentences.Water(site.Plan, site.State, site.AsOf), SiteSentences.Pumps(site.Plan, site.State, site.AsOf), HeardOf(site),
        [.. WorstFirst.Order(site.OpenAlerts).Select(alert => AlertView.Of(alert, site))]);

    private static string HeardOf(SiteView site)
    {
        var newest = site.Units.Max(unit => unit.HeardAt);
        return newest is { } heard ? $"Last heard of {Words.Ago(site.AsOf - heard)}." : "Not heard of yet.";
    }
}

/// <param name="Id">The alert.</param>
/// <param name="Weight">Its priority's name, for the width of a line beside it.</param>
/// <param name="Summary">One sentence.</param>
/// <param name="Standing">Since when, how pressing, and what people did about it.</param>
/// <param name="FirstAdvice">What to check first; null if there is nothing to say.</param>
/// <param name="Cautions">What can hurt somebody while checking.</param>
/// <param name="MayBeAcknowledged">Nobody has yet.</param>
public sealed record AlertView(
    string Id, string Weight, string Summary, string Standing, string? FirstAdvice, IReadOnlyList<string> Cautions, bool MayBeAcknowledged)
{
    internal static AlertView Of(Alert alert, SiteView site)
    {
        var finding = alert.Finding;
        var since = $"Since {Words.Local(finding.Since, site.Plan.TimeZone)}, {FindingNames.Of(finding.Priority)} priority.";
        return new(
            alert.Id, FindingNames.Of(finding.Priority), finding.Text.Summary, $"{since} {StateOf(alert, site)}".TrimEnd(),
            finding.Text.Advice.FirstOrDefault(), finding.Text.Cautions,
            alert.State is AlertState.Unacknowledged or AlertState.ReturnedUnacknowledged);
    }

    private static string StateOf(Alert alert, SiteView site) => alert.State switch
    {
        AlertState.Unacknowledged => "Nobody has acknowledged it yet.",
        AlertState.Acknowledged => $"Acknowledged by {alert.AcknowledgedBy}{On(alert.AcknowledgedAt, site)}.",
        AlertState.ReturnedUnacknowledged => $"It ceased{On(alert.Finding.ClearedAt, site)}, and nobody has acknowledged it yet.",
        AlertState.Shelved => alert.ShelvedUntil is { } until ? $"Put aside until {Words.Local(until, site.Plan.TimeZone)}." : "Put aside.",
        AlertState.OutOfService => "The device is out of service.",
        _ => "",
    };

    private static string On(DateTimeOffset? at, SiteView site) => at is { } known ? $" on {Words.Local(known, site.Plan.TimeZone)}" : "";
}

/// <summary>A mail as it was sent.</summary>
public sealed record MailView(string Subject, string To, string At, string Text);

internal static class Words
{
    public static string Ago(TimeSpan age) => age switch
    {
        { TotalSeconds: < 5 } => "just now",
        { TotalMinutes: < 2 } => $"{age.TotalSeconds:0} seconds ago",
        { TotalHours: < 2 } => $"{age.TotalMinutes:0} minutes ago",
        { TotalDays: < 2 } => $"{age.TotalHours:0} hours ago",
        _ => $"{age.TotalDays:0} days ago",
    };

    public static string Local(DateTimeOffset at, TimeZoneInfo zone) =>
        TimeZoneInfo.ConvertTime(at, zone).ToString("d MMMM yyyy, HH:mm", CultureInfo.InvariantCulture);
}
