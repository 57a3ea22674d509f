using TankWatch.Core.Alerts;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Pages.Estate;

/// <summary>One building of the list.</summary>
/// <param name="Site">For its strip.</param>
/// <param name="Name">As its file says; may hold anything.</param>
/// <param name="Alerts">What needs a hand now, worst first, at most <see cref="Spelled"/>.</param>
/// <param name="Further">What else needs a hand.</param>
/// <param name="PutAside">What was put aside, and what is over and not acknowledged; empty for nothing.</param>
/// <param name="ToAcknowledge">The worst alert that nobody has acknowledged; null when there is none.</param>
/// <param name="Water">One sentence; null for a building that was never heard of.</param>
/// <param name="Pumps">One sentence a pump; null for a building that was never heard of.</param>
/// <param name="HeardAt">Newest sign of life, time of receipt; null if there was none.</param>
/// <param name="IsOld">That was so long ago that things may be different by now.</param>
public sealed record BuildingView(
    SiteView Site, string Name, IReadOnlyList<AlertLine> Alerts, string Further, string PutAside, string? ToAcknowledge,
    string? Water, string? Pumps, DateTimeOffset? HeardAt, bool IsOld)
{
    private const int Spelled = 2;

    public string Id => Site.Plan.Id.Value;

    public static BuildingView Of(SiteView site, DateTimeOffset now)
    {
        var open = WorstFirst.Order(site.OpenAlerts).ToList();
        var pressing = open.FindAll(WorstFirst.Presses);
        var heard = site.Units.Max(unit => unit.HeardAt);
        var toAcknowledge = pressing.Find(WorstFirst.Waits);
        var isUnheard = SiteSentences.IsUnheard(site.State);
        return new(
            site, site.Plan.Name, [.. pressing.Take(Spelled).Select(alert => AlertLine.Of(alert))],
            pressing.Count > Spelled ? Words.Say("home.row.further", ("n", pressing.Count - Spelled)) : "",
            Aside(open, site, now), toAcknowledge?.Id,
            isUnheard ? null : Words.Say(SiteSentences.Water(site.Plan, site.State, now)), isUnheard ? null : Words.Say(SiteSentences.Pumps(site.Plan, site.State, now)),
            heard, now - heard > SiteTimeline.WordHolds);
    }

    private static string Aside(List<Alert> open, SiteView site, DateTimeOffset now)
    {
        var over = open.FindAll(alert => alert.State == AlertState.ReturnedUnacknowledged);
        var aside = open.Count(alert => !WorstFirst.Presses(alert)) - over.Count;
        return string.Join(Words.Say("list.comma"), ((string[])
        [
            over switch
            {
                [] => "",
                [{ Finding: { ClearedAt: { } end, Kind: var kind } }] => Words.Say("home.row.over-since", ("kind", Terms.Name(kind)), ("at", LocalClock.Near(end, now, site.Plan.TimeZone))),
                _ => Words.Say("home.row.over", ("n", over.Count)),
            },
            aside > 0 ? Words.Say("home.row.aside", ("n", aside)) : "",
        ]).Where(part => part != ""));
    }
}

/// <summary>An alert in one line.</summary>
/// <param name="Id">The alert.</param>
/// <param name="Summary">One sentence; may hold a name that a person gave.</param>
/// <param name="SinceAt">Estimated onset, UTC.</param>
/// <param name="AcknowledgedBy">Null when nobody did.</param>
/// <param name="AcknowledgedAt">When.</param>
public sealed record AlertLine(string Id, string Summary, DateTimeOffset SinceAt, string? AcknowledgedBy, DateTimeOffset? AcknowledgedAt)
{
    public static AlertLine Of(Alert alert)
    {
        var isAcknowledged = alert.State == AlertState.Acknowledged;
        return new(
            alert.Id, Words.Plain(Words.Say(alert.Finding.Text.Summary)), alert.Finding.Since,
            isAcknowledged ? alert.AcknowledgedBy ?? Words.Say("somebody") : null, isAcknowledged ? alert.AcknowledgedAt : null);
    }
}
