using System.Buffers;
using System.Collections.Immutable;
using System.Runtime.InteropServices;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Areas;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
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

    /// <summary>What is known of areas, if that changed: <see cref="AreaJson"/>.</summary>
    public string? Areas { get; init; }

    /// <summary>When not null, stored snapshots of this moment or later are wrong.</summary>
    public DateTimeOffset? SnapshotsFrom { get; init; }

    /// <summary>To add.</summary>
    public ImmutableArray<StoredSnapshot> Snapshots { get; init; } = [];

    public bool IsEmpty => Events.IsEmpty && Notices.IsEmpty && RunsAfter is null && Runs.IsEmpty && Days.IsEmpty && Mark is null && SnapshotsFrom is null && Snapshots.IsEmpty && Areas is null;
}

/// <summary>What a command made.</summary>
internal sealed record Obeyed(SiteWrites Writes, CommandOutcome Outcome)
{
    /// <param name="command">What was asked.</param>
    /// <param name="writes">What it made.</param>
    /// <param name="alert">As it is after it.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static Obeyed Of(AlertCommand command, SiteWrites writes, Alert alert, DateTimeOffset now)
    {
        var isDone = writes.Events.Any(happened => happened.AlertId == alert.Id && happened is not AlertNotified) || (command is Acknowledge && alert.AcknowledgedAt is not null);
        return new(writes, isDone ? new CommandOutcome.Done(alert) : new CommandOutcome.Refused(CommandWords.WhyNot(command, alert, now)));
    }
}

/// <summary>One site in memory: its judgement, its alerts, its links. Owned by the keeper; nobody else touches it.</summary>
internal sealed class KeptSite
{
    /// <summary>A message may overtake another by this much before the minute it belongs to is closed; a later one rewinds.</summary>
    private static readonly TimeSpan ReorderAllowance = TimeSpan.FromSeconds(5);

    /// <summary>Ended alerts stay in memory so long; what reaches further back reads them from the store.</summary>
    private static readonly TimeSpan AlertsKept = TimeSpan.FromDays(1);

    private static readonly TimeSpan BacklogQuiet = TimeSpan.FromSeconds(1);
    private static readonly TimeSpan BacklogLongest = TimeSpan.FromSeconds(10);

    /// <summary>From this age on it is asked how far back the site can go.</summary>
    private static readonly TimeSpan OldAge = TimeSpan.FromDays(25);

    private readonly SeriesStore series;
    private readonly LedgerStore ledger;

    /// <summary>Up to where the journal is in the state that it was saved with; null when it goes on from no saved state.</summary>
    private readonly long? markedTo;
    private readonly StoredRecord record;
    private readonly SiteFollower follower;
    private readonly ReorderWindow window;
    private readonly CatchUp catchUp;
    private readonly List<UnitWatch> units;
    private readonly SiteWrites nothing;
    private LinkState link;
    private SiteAlerts alerts;
    private SiteAlerts? viewedAlerts;
    private SiteAlerts? timedAlerts;
    private DateTimeOffset dueAt;
    private SitePlan people;
    private ImmutableArray<OuterCause> causes = [];
    private bool hasNews;
    private ImmutableArray<Alert> openAlerts = [];
    private ImmutableArray<UnitView> unitViews;
    private DateTimeOffset alertsFrom;
    private readonly DateTimeOffset builtAt;
    private DateTimeOffset snapshotAt;
    private DateTimeOffset lateAt;
    private DateTimeOffset? lateSince;
    private DateTimeOffset? listeningSince;
    private DateTimeOffset tickedMinute;
    private bool wasCaughtUp;

    /// <param name="plan">What is installed.</param>
    /// <param name="series">Has its messages.</param>
    /// <param name="ledger">Has its alerts.</param>
    /// <param name="mark">How it was last saved; null if it never was.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public KeptSite(SitePlan plan, SeriesStore series, LedgerStore ledger, SiteMark? mark, DateTimeOffset now)
    {
        (Plan, people, this.series, this.ledger) = (plan, plan, series, ledger);
        var state = mark?.State is { } stored ? SiteStateCodec.Read(stored, plan) : null;
        markedTo = state is null ? null : mark!.Position;
        record = new(series, plan);
        nothing = SiteWrites.Nothing(plan);
        follower = new(plan, state);
        window = new(series.IsWholeBetween);
        catchUp = new(now);
        units = [.. plan.Units.Select(unit => new UnitWatch(unit.Id, series.CountRefused(unit.Id), state is null ? null : mark!.Units.FirstOrDefault(known => known.Id == unit.Id)))];
        alertsFrom = state is null ? DateTimeOffset.MinValue : state.At < now - AlertsKept ? state.At : now - AlertsKept;
        alerts = new(plan.Id, ledger.ReadAlertsFrom(plan.Id, alertsFrom));
        link = RestoreLink(now);
        builtAt = now;
    }

    public SitePlan Plan { get; }

    public bool Has(string alertId) => alerts.Alerts.Any(alert => alert.Id == alertId);

    /// <summary>What is counted of a unit, to count on.</summary>
    public UnitWatch Watch(int unit)
    {
        unitViews = default;
        return units[unit];
    }

    /// <summary>
    /// Judges what is stored and was not judged when the site was last saved, or all of it when it never was or another file was then in
    /// force, and reconciles the alerts with it. What was told already is not told again: the same findings make no events. What a crash
    /// left untold between the two transactions is told now.
    /// </summary>
    public SiteWrites Build(DateTimeOffset now)
    {
        var from = markedTo is not null ? follower.State.At : series.ReadRawFrom(Plan.Id) ?? DateTimeOffset.MinValue;
        var stored = markedTo is { } position ? series.ReadJournal(Plan, position) : series.ReadDays(Plan, from).SelectMany(days => days);
        var seen = new List<Observation>();
        foreach (var (observation, retained) in stored)
        {
            units[Plan.FindUnit(observation.Stamp.Unit)!.Index].Take(observation, retained);
            seen.Add(observation);
        }

        var followed = follower.Take(seen, record, ToldTo());
        while (follower.NeedsRework)
        {
            // Of a state that has not seen what came late before the restart, nothing may be told.
            followed = follower.Rework(record, int.MaxValue, out var again) ? again : followed;
        }

        if (markedTo is not null)
        {
            // Snapshots of the last life may lack what waited for its turn when that ended.
            var anew = followed.RewoundTo ?? from;
            return Told([followed], [followed.Changes], now) with { RunsAfter = anew, SnapshotsFrom = anew };
        }

        // What was deleted for its age was judged in its time, and stays as it was.
        var changes = followed.Changes with { From = followed.Changes.From > from ? followed.Changes.From : from };
        return Told([followed], [changes], now) with { RunsAfter = from, SnapshotsFrom = from, Mark = Marked() };
    }

    /// <summary>How far the water's judgement had come when it was last told of.</summary>
    private DateTimeOffset? ToldTo() => alerts.Alerts
        .Where(alert => alert.Finding.Scope == FindingScope.Water && alert.Correction != AlertCorrection.Withdrawn)
        .Max(alert => (DateTimeOffset?)(alert.Finding.ClearedAt ?? alert.Finding.RaisedAt));

    /// <summary>Takes fresh messages into account.</summary>
    /// <param name="fresh">In order of receipt.</param>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="listening">Since when a broker delivers; null when it has ceased to meanwhile.</param>
    public SiteWrites Take(List<Fresh> fresh, DateTimeOffset now, DateTimeOffset? listening)
    {
        Hear(listening, now); // Before the first of them is believed to break a silence that was our own.
        var linkChanges = new LinkChanges(link.At);
        foreach (var (seen, retained) in fresh)
        {
            var unit = Plan.FindUnit(seen.Stamp.Unit)!.Index;
            Watch(unit).Take(seen, retained);
            catchUp.Heard(seen.Stamp.At, now);
            link = linkChanges.Add(LinkStep.Heard(link, unit, seen, retained, Plan));
        }

        var followed = Follow(window.Pass(fresh, now), now);
        return Told([followed], [followed.Changes, linkChanges.Merged], now);
    }

    /// <summary>How its area sees it.</summary>
    public SiteSign Sign
    {
        get
        {
            DateTimeOffset? dark = null, silent = DateTimeOffset.MinValue;
            foreach (var unit in follower.State.Timeline.Units)
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

            return new(Plan.Id, Plan.Name, Plan.Area, dark ?? (link.Units.IsEmpty ? null : silent), dark is not null);
        }
    }

    /// <summary>What holds outside the site from now on.</summary>
    public void Outside(ImmutableArray<OuterCause> outer)
    {
        if (!outer.SequenceEqual(causes))
        {
            (causes, hasNews) = (outer, !alerts.Alerts.IsEmpty);
        }
    }

    /// <summary>The plan, with who declined what can wait.</summary>
    public SitePlan People => people;

    /// <summary>Who asked to be told of nothing but the critical, in lower case.</summary>
    public void Decline(IReadOnlySet<string> emails) => people = emails.Count == 0 ? Plan
        : Plan with { Contacts = [.. Plan.Contacts.Select(contact => contact with { Declined = contact.Email is { } email && emails.Contains(email.ToLowerInvariant()) })] };

    /// <summary>The wall clock was set.</summary>
    /// <param name="by">How far; back when negative.</param>
    /// <param name="now">As it is now.</param>
    public SiteWrites ClockMoved(TimeSpan by, DateTimeOffset now)
    {
        if (now != builtAt)
        {
            link = link.ClockMoved(by);
            catchUp.ClockMoved(by);
            if (lateSince is not null)
            {
                (lateAt, lateSince) = (now, now);
            }
        }

        return alerts.Alerts.IsEmpty ? nothing : Told([], [], now, clockMoved: by);
    }

    /// <summary>Late messages wait to be judged: <see cref="Rework"/>.</summary>
    public bool NeedsRework => follower.NeedsRework;

    /// <summary>The backlog is in, or has been coming for long: judged once after its last part, it costs one walk and not one a part.</summary>
    public bool IsReadyForRework(DateTimeOffset now) => now - lateAt >= BacklogQuiet || now - lateSince >= BacklogLongest;

    /// <summary>Judges late messages, and all that came after them, a part at a time.</summary>
    /// <param name="steps">At most so many messages.</param>
    /// <param name="now">Wall clock, UTC.</param>
    /// <returns>Null while there is more to do.</returns>
    public SiteWrites? Rework(int steps, DateTimeOffset now)
    {
        if (!follower.Rework(record, steps, out var followed))
        {
            return null;
        }

        lateSince = null;
        return Told([followed], [followed.Changes], now);
    }

    /// <summary>Time has passed.</summary>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="frontier">Up to here messages may be expected to have come; one after <paramref name="now"/>, of clocks that are ahead, counts as now.</param>
    /// <param name="listening">Since when a broker delivers; null while none does.</param>
    /// <returns>Null when there was nothing to decide.</returns>
    public SiteWrites? Tick(DateTimeOffset now, DateTimeOffset frontier, DateTimeOffset? listening)
    {
        Hear(listening, now);
        var due = window.IsEmpty ? null : Follow(window.Due(now), now);
        var settled = (frontier < now ? frontier : now) - ReorderAllowance;
        var minute = settled - TimeSpan.FromTicks(settled.Ticks % TimeSpan.TicksPerMinute);
        var caughtUp = catchUp.IsOver(now);
        if (minute == tickedMinute && caughtUp == wasCaughtUp && DueAt > now && !hasNews)
        {
            return due is null ? null : Told([due], [due.Changes], now);
        }

        (tickedMinute, wasCaughtUp) = (minute, caughtUp);
        List<Followed> followed = due is null ? [] : [due];
        if (listening is null)
        {
            return Told(followed, [.. followed.Select(part => part.Changes)], now);
        }

        (link, var linkChanges) = LinkStep.Tick(link, now, Plan);
        unitViews = default;
        if (caughtUp)
        {
            followed.Add(follower.Tick(settled)); // Before the backlog is in, a tick would only be rewound again.
        }

        return Told(followed, [linkChanges, .. followed.Select(part => part.Changes)], now);
    }

    /// <summary>Carries out a command on an alert that <see cref="Has"/> or the store has.</summary>
    public Obeyed Obey(AlertCommand command, Alert stored, DateTimeOffset now)
    {
        if (!Has(stored.Id))
        {
            alerts = alerts with { Alerts = alerts.Alerts.Add(stored) };
        }

        var writes = Told([], [], now, command);
        return Obeyed.Of(command, writes, alerts.Alerts.First(alert => alert.Id == command.AlertId), now);
    }

    /// <summary>Saves the site whole, as it is after all of the journal.</summary>
    public SiteWrites Save(DateTimeOffset now)
    {
        List<Followed> followed = [Follow(window.Due(DateTimeOffset.MaxValue), now)];
        while (follower.NeedsRework)
        {
            if (follower.Rework(record, int.MaxValue, out var again))
            {
                followed.Add(again);
            }
        }

        var writes = Told(followed, [.. followed.Select(part => part.Changes)], now);
        var at = follower.State.At;
        var isDue = at - snapshotAt >= SnapshotSpacing.Closest;
        snapshotAt = isDue ? at : snapshotAt;
        return writes with { Mark = Marked(), Snapshots = isDue ? writes.Snapshots.Add(new(at, Bytes(follower.State))) : writes.Snapshots };
    }

    private Followed Follow(List<Observation> passed, DateTimeOffset now)
    {
        // Beyond the oldest state to go back to, the past is closed.
        var (isOld, isLate) = (false, false);
        foreach (var seen in passed)
        {
            isOld |= now - seen.Stamp.At > OldAge;
            isLate |= !follower.State.IsNewer(seen);
        }

        lateAt = isLate ? now : lateAt;
        var judged = isOld && record.Floor() is { } floor ? passed.FindAll(seen => seen.Stamp.At >= floor) : passed;
        var followed = follower.Take(judged, record);
        lateSince = follower.NeedsRework ? lateSince ?? now : null;
        return followed;
    }

    private SiteMark Marked() => new(series.Position, [.. units.Select(unit => unit.Mark)], Bytes(follower.State));

    private byte[] Bytes(SiteState state)
    {
        var bytes = new ArrayBufferWriter<byte>(4096);
        SiteStateCodec.Write(state, Plan, bytes);
        return bytes.WrittenSpan.ToArray();
    }

    public SiteView View(DateTimeOffset now)
    {
        if (!ReferenceEquals(viewedAlerts, alerts))
        {
            openAlerts = [.. alerts.Alerts.Where(alert => alert.IsOpen).OrderBy(alert => alert.Id, StringComparer.Ordinal)];
            viewedAlerts = alerts;
        }

        if (unitViews.IsDefault)
        {
            var views = new UnitView[units.Count];
            for (var i = 0; i < views.Length; i++)
            {
                views[i] = units[i].View(Plan.Id, link.Units[i].Open is not null, series.MissingOf(units[i].Id), now);
            }

            unitViews = ImmutableCollectionsMarshal.AsImmutableArray(views);
        }

        return new(Plan, follower.State, openAlerts, unitViews, now);
    }

    /// <summary>When something happens to an alert by itself.</summary>
    private DateTimeOffset DueAt
    {
        get
        {
            if (!ReferenceEquals(timedAlerts, alerts))
            {
                dueAt = alerts.Alerts.Where(alert => alert.IsOpen).Min(alert => alert.ShelvedUntil ?? alert.TimerAt) ?? DateTimeOffset.MaxValue; // Never both.
                timedAlerts = alerts;
            }

            return dueAt;
        }
    }

    private SiteWrites Told(
        IReadOnlyList<Followed> followed, ReadOnlySpan<FindingChanges> changes, DateTimeOffset now, AlertCommand? command = null, TimeSpan clockMoved = default)
    {
        hasNews = false;
        if (command is null && IsQuiet(changes))
        {
            return Written(followed, alerts, [], []);
        }

        ReachBack(changes, now);
        var told = SiteStep.Tell(
            alerts, new(now, catchUp.IsOver(now), [.. changes], command is null ? [] : [command]) { Causes = causes, ClockMoved = clockMoved }, people);
        alerts = told.Next;
        return Written(followed, told.Next, told.Events, told.Notifications);
    }

    /// <summary>Nothing holds, and no alert is there that could have come to an end: nearly every step of nearly every site.</summary>
    private bool IsQuiet(ReadOnlySpan<FindingChanges> changes)
    {
        foreach (var change in changes)
        {
            if (!change.Findings.IsEmpty || change.From < alertsFrom)
            {
                return false;
            }
        }

        return alerts.Alerts.IsEmpty;
    }

    private SiteWrites Written(IReadOnlyList<Followed> followed, SiteAlerts next, ImmutableArray<AlertEvent> events, ImmutableArray<Notification> notices)
    {
        DateTimeOffset? rewoundTo = null;
        var (runs, days, snapshots) = (ImmutableArray<PumpRun>.Empty, ImmutableArray<SiteDay>.Empty, ImmutableArray<StoredSnapshot>.Empty);
        foreach (var part in followed)
        {
            rewoundTo = part.RewoundTo is { } to && !(rewoundTo < to) ? to : rewoundTo;
            runs = runs.AddRange(part.Runs);
            days = days.AddRange(part.Days);
            foreach (var kept in part.Kept)
            {
                snapshots = snapshots.Add(new(kept.At, Bytes(kept)));
            }
        }

        return rewoundTo is null && events.IsEmpty && notices.IsEmpty && runs.IsEmpty && days.IsEmpty && snapshots.IsEmpty ? nothing
            : new(Plan, next.Alerts, events, notices, rewoundTo, runs, days) { SnapshotsFrom = rewoundTo, Snapshots = snapshots };
    }

    /// <summary>Has the alerts in memory that the changes can speak of, and not many more.</summary>
    private void ReachBack(ReadOnlySpan<FindingChanges> changes, DateTimeOffset now)
    {
        foreach (var change in changes)
        {
            if (change.From < alertsFrom)
            {
                // What is in memory may be ahead of the store by what this very step has to write.
                var known = alerts.Alerts.Select(alert => alert.Id).ToHashSet(StringComparer.Ordinal);
                var more = ledger.ReadAlertsFrom(Plan.Id, change.From).Where(alert => !known.Contains(alert.Id));
                alerts = alerts with { Alerts = [.. alerts.Alerts.Concat(more).OrderBy(alert => alert.Id, StringComparer.Ordinal)] };
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

    /// <summary>Several steps of the link as one: what a batch opened and cleared is not lost between them.</summary>
    private sealed class LinkChanges(DateTimeOffset from)
    {
        private Dictionary<(DeviceId, DateTimeOffset), Finding>? findings;

        public FindingChanges Merged => new(FindingScope.Link, from, findings is null ? [] : [.. findings.Values]);

        public LinkState Add((LinkState Next, FindingChanges Changes) step)
        {
            foreach (var finding in step.Changes.Findings)
            {
                findings ??= [];
                findings[(finding.Device, finding.RaisedAt)] = finding;
            }

            return step.Next;
        }
    }
}
