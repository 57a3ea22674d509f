using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Areas;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Service.Sites;

/// <summary>The links to a site's units in memory: a function of receipts, and of whether anybody was there to hear.</summary>
/// <param name="plan">What is installed.</param>
/// <param name="restored">As they are at the start: <see cref="Restored"/>.</param>
internal sealed class KeptLinks(SitePlan plan, LinkState restored)
{
    private LinkState link = restored;
    private DateTimeOffset? listeningSince;

    public bool IsSilent(int unit) => link.Units[unit].Open is not null;

    /// <summary>Notes since when a broker delivers.</summary>
    /// <param name="listening">Null while none does.</param>
    /// <returns>True when one has begun to.</returns>
    public bool Hear(DateTimeOffset? listening)
    {
        if (listening == listeningSince)
        {
            return false;
        }

        listeningSince = listening;
        if (listening is not { } since)
        {
            return false;
        }

        link = link.ListeningAgain(since);
        return true;
    }

    /// <summary>Takes receipts into account, as one step: what a batch opened and cleared is not lost between them.</summary>
    public FindingChanges Take(IEnumerable<Fresh> fresh)
    {
        var from = link.At;
        Dictionary<(DeviceId, DateTimeOffset), Finding>? findings = null;
        foreach (var (seen, retained) in fresh)
        {
            (link, var changes) = LinkStep.Heard(link, plan.FindUnit(seen.Stamp.Unit)!.Index, seen, retained, plan);
            foreach (var finding in changes.Findings)
            {
                findings ??= [];
                findings[(finding.Device, finding.RaisedAt)] = finding;
            }
        }

        return new(FindingScope.Link, from, findings is null ? [] : [.. findings.Values]);
    }

    /// <summary>Time has passed, while a broker delivered.</summary>
    public FindingChanges Tick(DateTimeOffset now)
    {
        (link, var changes) = LinkStep.Tick(link, now, plan);
        return changes;
    }

    /// <summary>The wall clock was set.</summary>
    public void ClockMoved(TimeSpan by) => link = link.ClockMoved(by);

    /// <summary>How its area sees a site.</summary>
    /// <param name="timeline">Has what its units say of the mains.</param>
    public SiteSign Sign(SiteTimeline timeline)
    {
        DateTimeOffset? dark = null, silent = DateTimeOffset.MinValue;
        foreach (var unit in timeline.Units)
        {
            dark = unit.MainsOffSince is { } off && !(dark < off) ? off : dark;
        }

        foreach (var unit in link.Units)
        {
            // Silent as a whole is a site only when the last of its units is.
            var since = unit.GoneSince ?? unit.Open?.Since;
            silent = since > silent || since is null ? since : silent;
            if (silent is null)
            {
                break;
            }
        }

        return new(plan.Id, plan.Name, plan.Area, dark ?? (link.Units.IsEmpty ? null : silent), dark is not null);
    }

    /// <summary>An open <c>unit-silent</c> stays open over a restart; other units get their full time from now on.</summary>
    /// <param name="plan">What is installed.</param>
    /// <param name="units">In the order of the plan.</param>
    /// <param name="alerts">Of the site.</param>
    /// <param name="bootOf">The highest restart count known of a unit.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static LinkState Restored(SitePlan plan, IReadOnlyList<UnitWatch> units, IReadOnlyCollection<Alert> alerts, Func<UnitId, long?> bootOf, DateTimeOffset now)
    {
        var fresh = LinkState.Start(plan, now);
        return fresh with { Units = [.. fresh.Units.Select((unit, i) => Of(unit, units[i]))] };

        UnitLink Of(UnitLink unit, UnitWatch watch)
        {
            var told = alerts.Where(alert => alert.Finding.Kind == FindingKind.UnitSilent && alert.Finding.Device.Value == watch.Id.Value).ToList();
            var open = told.Find(alert => alert.Finding.IsOpen)?.Finding;
            return unit with
            {
                HeardAt = open is not null && watch.HeardAt is { } heard ? heard : unit.HeardAt,
                HasSpoken = watch.HeardAt is not null,
                Boot = bootOf(watch.Id),
                Open = open,
                LastClearedAt = told.Max(alert => alert.Finding.ClearedAt),
            };
        }
    }
}
