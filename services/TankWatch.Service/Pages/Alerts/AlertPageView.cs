using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using TankWatch.Service.Api;
using TankWatch.Service.Pages.Building;
using TankWatch.Service.Pages.Strips;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using TankWatch.Service.Visits;

namespace TankWatch.Service.Pages.Alerts;

/// <summary>What the page of one alert says.</summary>
public sealed class AlertPageView
{
    private static readonly TimeSpan ShortestStrip = TimeSpan.FromHours(6);
    private static readonly TimeSpan LongestStrip = TimeSpan.FromDays(7);

    /// <param name="alert">The alert.</param>
    /// <param name="site">As it is known; null while its judgement is being built anew.</param>
    /// <param name="plan">Its site file; null with a fault that an earlier version did not find.</param>
    /// <param name="ledger">For its history and its letters.</param>
    /// <param name="caller">Who looks.</param>
    /// <param name="from">Of the strip, as asked for.</param>
    /// <param name="to">Of the strip, as asked for.</param>
    /// <param name="now">UTC.</param>
    internal AlertPageView(Alert alert, SiteView? site, SitePlan? plan, LedgerStore ledger, Caller caller, string? from, string? to, DateTimeOffset now)
    {
        Zone = plan?.TimeZone ?? TimeZoneInfo.Utc;
        (Finding, Site, SiteId, SiteName) = (alert.Finding, site, alert.Site.Value, plan?.Name ?? (alert.Site.IsNone ? alert.Finding.Device.Value : alert.Site.Value));
        Alert = AlertView.Of(alert, now, Zone);
        var usual = StripOf(alert.Finding, now);
        (Window, WindowProblem) = string.IsNullOrEmpty(from) && string.IsNullOrEmpty(to) ? (usual, null) : BuildingWindow.Between(from, to, usual);
        Events = [.. ledger.ListAlertEvents(alert.Id).Select(stored => StoredJson.Read<AlertEvent>(stored.Json)).Reverse()];
        Letters = ledger.ListLettersOf(alert.Id);
        WasTold = alert.NotifiedAt is not null;
        Cause = alert is { State: AlertState.Suppressed, CausedBy: { } cause } ? ledger.FindAlert(cause) : null;
        Consequences = [.. ledger.ListConsequences(alert.Id).Where(hung => caller.Sees(hung.Site) && hung.State == AlertState.Suppressed)
            .Select(hung => (hung, hung.Site == alert.Site ? SiteName : ledger.FindSite(hung.Site)?.Plan?.Name ?? hung.Site.Value))];
        MayPlan = IsOfSite && plan is not null && alert.IsOpen && VisitDesk.MayChange(caller);
        MayClose = AlertPages.MayClose(caller) && !(alert.Site.IsNone && caller.Site is not null) && alert.Correction != AlertCorrection.Withdrawn && (alert.IsOpen || alert.CauseFound is null);
    }

    public AlertView Alert { get; }
    public Finding Finding { get; }
    public SiteView? Site { get; }
    public string SiteId { get; }

    /// <summary>False for the outage of an area and for a fault of this service.</summary>
    public bool IsOfSite => SiteId != "";

    /// <summary>What explains it; null when nothing does.</summary>
    public Alert? Cause { get; }

    /// <summary>What hangs under it, each with the name of its building, which may hold anything.</summary>
    public IReadOnlyList<(Alert Alert, string Site)> Consequences { get; }

    /// <summary>May hold anything.</summary>
    public string SiteName { get; }

    public TimeZoneInfo Zone { get; }
    public StripWindow Window { get; }
    public string? WindowProblem { get; }

    /// <summary>Newest first.</summary>
    public IReadOnlyList<AlertEvent> Events { get; }

    public IReadOnlyList<OutboxEntry> Letters { get; }
    public bool WasTold { get; }

    /// <summary>The reader may say what was found, and nobody has yet.</summary>
    public bool MayClose { get; }

    /// <summary>The reader may send somebody because of it.</summary>
    public bool MayPlan { get; }

    public string Address => $"/alerts/{Alert.Id}";

    /// <summary>The time of the evidence: the finding with a quarter of its length on both sides, at least six hours and at most seven days, and no time to come.</summary>
    internal static StripWindow StripOf(Finding finding, DateTimeOffset now)
    {
        var end = finding.ClearedAt ?? now;
        end = end > finding.Since ? end : finding.Since;
        var margin = (end - finding.Since) / 4;
        var from = finding.Since - margin;
        var to = end + margin;
        if (to - from < ShortestStrip)
        {
            var missing = (ShortestStrip - (to - from)) / 2;
            (from, to) = (from - missing, to + missing);
        }

        if (to > now && now > finding.Since)
        {
            from = to - from <= ShortestStrip ? from - (to - now) : from;
            to = now;
        }

        // Longer than the longest, it is the beginning that tells how it came about.
        return to - from > LongestStrip ? new(from = Later(from, finding.Since - (LongestStrip / 4)), from + LongestStrip) : new(from, to);
    }

    private static DateTimeOffset Later(DateTimeOffset a, DateTimeOffset b) => a > b ? a : b;
}

/// <summary>What a person wanted to write and what stood in the way.</summary>
/// <param name="Problem">One sentence.</param>
/// <param name="Written">Kept, so that nobody has to write it again.</param>
public sealed record Refusal(string Problem, string? Written);
