using System.Collections.Immutable;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>A message of this site that is durable and was not known before.</summary>
internal readonly record struct Fresh(Observation Seen, bool Retained);

/// <summary>What one step of a site asks to be written, in one transaction.</summary>
/// <param name="Plan">Of the site, as it was judged by.</param>
/// <param name="Alerts">As they are after the events.</param>
/// <param name="Events">To append.</param>
/// <param name="Notices">For the outbox.</param>
/// <param name="RunsAfter">When not null, stored runs that stopped after it are replaced.</param>
/// <param name="Runs">To add.</param>
/// <param name="Days">To add or replace.</param>
internal sealed record SiteWrites(
    SitePlan Plan, ImmutableArray<Alert> Alerts, ImmutableArray<AlertEvent> Events, ImmutableArray<Notification> Notices,
    DateTimeOffset? RunsAfter, ImmutableArray<PumpRun> Runs, ImmutableArray<SiteDay> Days)
{
    public static SiteWrites Nothing(SitePlan plan) => new(plan, [], [], [], null, [], []);

    /// <summary>The site saved whole, if it is to be.</summary>
    public SiteMark? Mark { get; init; }

    public bool IsEmpty => Events.IsEmpty && Notices.IsEmpty && RunsAfter is null && Runs.IsEmpty && Days.IsEmpty && Mark is null;
}

/// <summary>What a command made.</summary>
internal sealed record Obeyed(SiteWrites Writes, CommandOutcome Outcome);

/// <summary>One site in memory: its judgement, its alerts, its links. Owned by the keeper; nobody else touches it.</summary>
internal sealed class KeptSite
{
    /// <summary>A message may overtake another by this much before the minute it belongs to is closed; a later one rewinds.</summary>
    private static readonly TimeSpan ReorderAllowance = TimeSpan.FromSeconds(5);

    /// <summary>Ended alerts stay in memory so long; what reaches further back reads them from the store.</summary>
    private static readonly TimeSpan AlertsKept = TimeSpan.FromDays(1);

    private readonly SeriesStore series;
    private readonly LedgerStore ledger;
    private readonly SiteFollower follower;
    private readonly CatchUp catchUp;
    private readonly List<UnitWatch> units;
    private LinkState link;
    private SiteAlerts alerts;
    private SiteAlerts? viewedAlerts;
    private ImmutableArray<Alert> openAlerts = [];
    private ImmutableArray<UnitView> unitViews;
    private DateTimeOffset alertsFrom = DateTimeOffset.MinValue;
    private DateTimeOffset? listeningSince;
    private DateTimeOffset tickedMinute;
    private bool wasCaughtUp;

    public KeptSite(SitePlan plan, string json, SeriesStore series, LedgerStore ledger, DateTimeOffset now)
    {
        (Plan, Json, this.series, this.ledger) = (plan, json, series, ledger);
        follower = new(plan);
        catchUp = new(now);
        units = [.. plan.Units.Select(unit => new UnitWatch(unit.Id, series.CountRefused(unit.Id), null))];
        alerts = new(plan.Id, ledger.ReadAlertsFrom(plan.Id, DateTimeOffset.MinValue));
        link = RestoreLink(now);
    }

    public SitePlan Plan { get; }

    /// <summary>The file it was made from.</summary>
    public string Json { get; }

    public bool Has(string alertId) => alerts.Alerts.Any(alert => alert.Id == alertId);

    /// <summary>What is counted of a unit, to count on.</summary>
    public UnitWatch Watch(int unit)
    {
        unitViews = default;
        return units[unit];
    }

    /// <summary>
    /// Judges all that is stored and reconciles the alerts with it. What was told already is not told again: the same findings
    /// make no events. What a crash left untold between the two transactions is told now.
    /// </summary>
    public SiteWrites Rebuild(DateTimeOffset now)
    {
        var stored = new List<Observation>();
        foreach (var (seen, retained) in series.ReadDays(Plan, DateTimeOffset.MinValue).SelectMany(days => days))
        {
            units[Plan.FindUnit(seen.Stamp.Unit)!.Index].Take(seen, retained);
            stored.Add(seen);
        }

        var followed = Follow(stored, ToldTo());
        return Told([followed], [followed.Changes], now) with { RunsAfter = DateTimeOffset.MinValue };
    }

    /// <summary>How far the water's judgement had come when it was last told of.</summary>
    private DateTimeOffset? ToldTo() => alerts.Alerts
        .Where(alert => alert.Finding.Scope == FindingScope.Water && alert.Correction != AlertCorrection.Withdrawn)
        .Max(alert => (DateTimeOffset?)(alert.Finding.ClearedAt ?? alert.Finding.RaisedAt));

    /// <summary>Takes fresh messages into account.</summary>
    public SiteWrites Take(IReadOnlyList<Fresh> fresh, DateTimeOffset now)
    {
        var linkChanges = new LinkChanges(link.At);
        foreach (var (seen, retained) in fresh)
        {
            var unit = Plan.FindUnit(seen.Stamp.Unit)!.Index;
            Watch(unit).Take(seen, retained);
            catchUp.Heard(seen.Stamp.At, now);
            link = linkChanges.Add(LinkStep.Heard(link, unit, seen, retained, Plan));
        }

        var followed = Follow([.. fresh.Select(f => f.Seen)], tickTo: null);
        return Told([followed], [followed.Changes, linkChanges.Merged], now);
    }

    private Followed Follow(IReadOnlyList<Observation> fresh, DateTimeOffset? tickTo)
    {
        var record = new StoredRecord(series, Plan);
        var followed = follower.Take(fresh, record, tickTo);
        return follower.Rework(record, int.MaxValue, out var again) ? again : followed;
    }

    /// <summary>Time has passed.</summary>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="listening">Since when a broker delivers; null while none does.</param>
    /// <returns>Null when there was nothing to decide.</returns>
    public SiteWrites? Tick(DateTimeOffset now, DateTimeOffset? listening)
    {
        Hear(listening, now);
        var settled = now - ReorderAllowance;
        var minute = settled - TimeSpan.FromTicks(settled.Ticks % TimeSpan.TicksPerMinute);
        var caughtUp = catchUp.IsOver(now);
        if (minute == tickedMinute && caughtUp == wasCaughtUp)
        {
            return null;
        }

        (tickedMinute, wasCaughtUp) = (minute, caughtUp);
        if (listening is null)
        {
            return Told([], [], now);
        }

        (link, var linkChanges) = LinkStep.Tick(link, now, Plan);
        unitViews = default;

        // Before the backlog is in, a tick would only be rewound again.
        var followed = caughtUp ? follower.Tick(settled) : null;
        return followed is null ? Told([], [linkChanges], now) : Told([followed], [followed.Changes, linkChanges], now);
    }

    /// <summary>Carries out a command on an alert that <see cref="Has"/> or the store has.</summary>
    public Obeyed Obey(AlertCommand command, Alert stored, DateTimeOffset now)
    {
        if (!Has(stored.Id))
        {
            alerts = alerts with { Alerts = alerts.Alerts.Add(stored) };
        }

        var writes = Told([], [], now, command);
        var alert = alerts.Alerts.First(a => a.Id == command.AlertId);
        var isDone = writes.Events.Any(happened => happened.AlertId == alert.Id && happened is not AlertNotified)
            || (command is Acknowledge && alert.AcknowledgedAt is not null);
        return new(writes, isDone ? new CommandOutcome.Done(alert) : new CommandOutcome.Refused(CommandWords.WhyNot(command, alert, now)));
    }

    /// <summary>Saves the site whole, as it is after all of the journal.</summary>
    public SiteWrites Save(DateTimeOffset now) => Told([], [], now) with { Mark = new(series.Position, [.. units.Select(unit => unit.Mark)], null) };

    public SiteView View(DateTimeOffset now)
    {
        if (!ReferenceEquals(viewedAlerts, alerts))
        {
            openAlerts = [.. alerts.Alerts.Where(alert => alert.IsOpen).OrderBy(alert => alert.Id, StringComparer.Ordinal)];
            viewedAlerts = alerts;
        }

        if (unitViews.IsDefault)
        {
            unitViews = [.. units.Select((unit, i) => unit.View(Plan.Id, link.Units[i].Open is not null, series.MissingOf(unit.Id)))];
        }

        return new(Plan, follower.State, openAlerts, unitViews, now);
    }

    private SiteWrites Told(ReadOnlySpan<Followed> followed, ReadOnlySpan<FindingChanges> changes, DateTimeOffset now, AlertCommand? command = null)
    {
        ReachBack(changes, now);
        var told = SiteStep.Tell(alerts, new(now, catchUp.IsOver(now), [.. changes], command is null ? [] : [command]), Plan);
        alerts = told.Next;
        DateTimeOffset? runsAfter = null;
        var (runs, days) = (ImmutableArray.CreateBuilder<PumpRun>(), ImmutableArray.CreateBuilder<SiteDay>());
        foreach (var part in followed)
        {
            runsAfter = part.RewoundTo ?? runsAfter;
            runs.AddRange(part.Runs);
            days.AddRange(part.Days);
        }

        return new(Plan, told.Next.Alerts, told.Events, told.Notifications, runsAfter, runs.ToImmutable(), days.ToImmutable());
    }

    /// <summary>Has the alerts in memory that the changes can speak of, and not many more.</summary>
    private void ReachBack(ReadOnlySpan<FindingChanges> changes, DateTimeOffset now)
    {
        foreach (var change in changes)
        {
            if (change.From < alertsFrom)
            {
                alerts = alerts with { Alerts = ledger.ReadAlertsFrom(Plan.Id, change.From) };
                alertsFrom = change.From;
            }
        }

        if (changes.Length > 0 && Earliest(changes) is var earliest && earliest > alertsFrom + AlertsKept + AlertsKept && earliest > now - AlertsKept)
        {
            alertsFrom = now - AlertsKept;
            alerts = alerts with
            {
                Alerts = alerts.Alerts.RemoveAll(alert => !alert.IsOpen && alert.Finding.ClearedAt is { } cleared && cleared < alertsFrom),
            };
        }
    }

    private static DateTimeOffset Earliest(ReadOnlySpan<FindingChanges> changes)
    {
        var earliest = changes[0].From;
        foreach (var change in changes)
        {
            earliest = change.From < earliest ? change.From : earliest;
        }

        return earliest;
    }

    private void Hear(DateTimeOffset? listening, DateTimeOffset now)
    {
        if (listening == listeningSince)
        {
            return;
        }

        listeningSince = listening;
        if (listening is { } since)
        {
            link = link.ListeningAgain(since);
            catchUp.Listening(now);
            wasCaughtUp = false;
        }
    }

    /// <summary>An open <c>unit-silent</c> stays open over a restart; other units get their full time from now on.</summary>
    private LinkState RestoreLink(DateTimeOffset now)
    {
        var fresh = LinkState.Start(Plan, now);
        return fresh with { Units = [.. fresh.Units.Select((unit, i) => Restored(unit, units[i]))] };

        UnitLink Restored(UnitLink unit, UnitWatch watch)
        {
            var told = alerts.Alerts.Where(alert => alert.Finding.Kind == FindingKind.UnitSilent && alert.Finding.Device.Value == watch.Id.Value).ToList();
            var open = told.Find(alert => alert.Finding.IsOpen)?.Finding;
            return unit with
            {
                HeardAt = open is not null && watch.HeardAt is { } heard ? heard : unit.HeardAt,
                HasSpoken = watch.HeardAt is not null,
                Boot = series.HighestBootOf(watch.Id),
                Open = open,
                LastClearedAt = told.Max(alert => alert.Finding.ClearedAt),
            };
        }
    }

    /// <summary>No snapshots are stored yet: what is too late for the states in memory is judged from the beginning.</summary>
    private sealed class StoredRecord(SeriesStore series, SitePlan plan) : ISiteRecord
    {
        public IReadOnlyList<Observation> Read(Observation? after, DateTimeOffset from, int limit) =>
            [.. series.ReadFrom(plan, from).Order(Observation.Order).Where(o => after is null || Observation.Order.Compare(o, after) > 0).Take(limit)];

        public SiteState? StateBefore(Observation first) => null;
    }

    /// <summary>Several steps of the link as one: what a batch opened and cleared is not lost between them.</summary>
    private sealed class LinkChanges(DateTimeOffset from)
    {
        private readonly Dictionary<(DeviceId, DateTimeOffset), Finding> findings = [];

        public FindingChanges Merged => new(FindingScope.Link, from, [.. findings.Values]);

        public LinkState Add((LinkState Next, FindingChanges Changes) step)
        {
            foreach (var finding in step.Changes.Findings)
            {
                findings[(finding.Device, finding.RaisedAt)] = finding;
            }

            return step.Next;
        }
    }
}
