using System.Buffers;
using System.Collections.Immutable;
using System.Runtime.InteropServices;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Areas;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Timelines;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>A message of this site that is durable and was not known before.</summary>
internal readonly record struct Fresh(Observation Seen, bool Retained);

/// <summary>One site in memory: its judgement, its alerts, its links. Owned by the keeper; nobody else touches it.</summary>
internal sealed class KeptSite
{
    /// <summary>A message may overtake another by this much before the minute it belongs to is closed; a later one rewinds.</summary>
    private static readonly TimeSpan ReorderAllowance = TimeSpan.FromSeconds(5);

    private static readonly TimeSpan BacklogQuiet = TimeSpan.FromSeconds(1);
    private static readonly TimeSpan BacklogLongest = TimeSpan.FromSeconds(10);

    /// <summary>From this age on it is asked how far back the site can go.</summary>
    private static readonly TimeSpan OldAge = TimeSpan.FromDays(25);

    private readonly SeriesStore series;

    /// <summary>Up to where the journal is in the state that it was saved with; null when it goes on from no saved state.</summary>
    private readonly long? markedTo;
    private readonly StoredRecord record;
    private readonly SiteFollower follower;
    private readonly ReorderWindow window;
    private readonly CatchUp catchUp;
    private readonly List<UnitWatch> units;
    private readonly SiteWrites nothing;
    private readonly KeptAlerts alerts;
    private readonly KeptLinks links;
    private readonly DateTimeOffset builtAt;
    private ImmutableArray<UnitView> unitViews;
    private DateTimeOffset snapshotAt;
    private DateTimeOffset lateAt;
    private DateTimeOffset? lateSince;
    private DateTimeOffset tickedMinute;
    private bool wasCaughtUp;

    /// <param name="plan">What is installed.</param>
    /// <param name="series">Has its messages.</param>
    /// <param name="ledger">Has its alerts.</param>
    /// <param name="mark">How it was last saved; null if it never was.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public KeptSite(SitePlan plan, SeriesStore series, LedgerStore ledger, SiteMark? mark, DateTimeOffset now)
    {
        (Plan, this.series) = (plan, series);
        var state = mark?.State is { } stored ? SiteStateCodec.Read(stored, plan) : null;
        markedTo = state is null ? null : mark!.Position;
        record = new(series, plan);
        nothing = SiteWrites.Nothing(plan);
        follower = new(plan, state);
        window = new(series.IsWholeBetween);
        catchUp = new(now);
        units = [.. plan.Units.Select(unit => new UnitWatch(unit.Id, series.CountRefused(unit.Id), state is null ? null : mark!.Units.FirstOrDefault(known => known.Id == unit.Id)))];
        alerts = new(plan, ledger, state?.At, now);
        links = new(plan, KeptLinks.Restored(plan, units, alerts.All, series.HighestBootOf, now));
        builtAt = now;
    }

    public SitePlan Plan { get; }

    public bool Has(string alertId) => alerts.Find(alertId) is not null;

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

        var followed = follower.Take(seen, record, alerts.ToldTo());
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

    /// <summary>Takes fresh messages into account.</summary>
    /// <param name="fresh">In order of receipt.</param>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="listening">Since when a broker delivers; null when it has ceased to meanwhile.</param>
    public SiteWrites Take(List<Fresh> fresh, DateTimeOffset now, DateTimeOffset? listening)
    {
        Hear(listening, now); // Before the first of them is believed to break a silence that was our own.
        foreach (var (seen, retained) in fresh)
        {
            var unit = Plan.FindUnit(seen.Stamp.Unit)!.Index;
            Watch(unit).Take(seen, retained);
            catchUp.Heard(seen.Stamp.At, now);
        }

        var linkChanges = links.Take(fresh);
        var followed = Follow(window.Pass(fresh, now), now);
        return Told([followed], [followed.Changes, linkChanges], now);
    }

    /// <summary>How its area sees it.</summary>
    public SiteSign Sign => links.Sign(follower.State.Timeline);

    /// <summary>What holds outside the site from now on.</summary>
    public void Outside(ImmutableArray<OuterCause> outer) => alerts.Outside(outer);

    /// <summary>The plan, with who declined what can wait.</summary>
    public SitePlan People => alerts.People;

    /// <summary>Who asked to be told of nothing but the critical, in lower case.</summary>
    public void Decline(IReadOnlySet<string> emails) => alerts.Decline(emails);

    /// <summary>The wall clock was set.</summary>
    /// <param name="by">How far; back when negative.</param>
    /// <param name="now">As it is now.</param>
    public SiteWrites ClockMoved(TimeSpan by, DateTimeOffset now)
    {
        if (now != builtAt)
        {
            links.ClockMoved(by);
            catchUp.ClockMoved(by);
            if (lateSince is not null)
            {
                (lateAt, lateSince) = (now, now);
            }
        }

        return alerts.All.IsEmpty ? nothing : Told([], [], now, clockMoved: by);
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
        if (minute == tickedMinute && caughtUp == wasCaughtUp && alerts.DueAt > now && !alerts.HasNews)
        {
            return due is null ? null : Told([due], [due.Changes], now);
        }

        (tickedMinute, wasCaughtUp) = (minute, caughtUp);
        List<Followed> followed = due is null ? [] : [due];
        if (listening is null)
        {
            return Told(followed, [.. followed.Select(part => part.Changes)], now);
        }

        var linkChanges = links.Tick(now);
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
        alerts.Fetch(stored);
        var writes = Told([], [], now, command);
        return Obeyed.Of(command, writes, alerts.Find(command.AlertId)!, now);
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
        if (unitViews.IsDefault)
        {
            var views = new UnitView[units.Count];
            for (var i = 0; i < views.Length; i++)
            {
                views[i] = units[i].View(Plan.Id, links.IsSilent(i), series.MissingOf(units[i].Id), now);
            }

            unitViews = ImmutableCollectionsMarshal.AsImmutableArray(views);
        }

        return new(Plan, follower.State, alerts.Open, unitViews, now);
    }

    private SiteWrites Told(
        IReadOnlyList<Followed> followed, ReadOnlySpan<FindingChanges> changes, DateTimeOffset now, AlertCommand? command = null, TimeSpan clockMoved = default) =>
        Written(followed, alerts.Tell(changes, now, catchUp.IsOver(now), command, clockMoved));

    private SiteWrites Written(IReadOnlyList<Followed> followed, Told told)
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

        return rewoundTo is null && told.Events.IsEmpty && told.Notifications.IsEmpty && runs.IsEmpty && days.IsEmpty && snapshots.IsEmpty ? nothing
            : new(Plan, told.Next.Alerts, told.Events, told.Notifications, rewoundTo, runs, days) { SnapshotsFrom = rewoundTo, Snapshots = snapshots };
    }

    private void Hear(DateTimeOffset? listening, DateTimeOffset now)
    {
        if (links.Hear(listening))
        {
            catchUp.Listening(now);
            wasCaughtUp = false;
        }
    }
}
