using System.Collections.Immutable;
using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Alerts;

/// <summary>
/// How alerts change. <see cref="Decide"/> yields events and <see cref="Apply(SiteAlerts, IEnumerable{AlertEvent})"/> cannot fail; deciding
/// again on the result yields nothing. The transitions are those of an alarm without a confirm step (OPC 10000-9, B.1.2).
/// </summary>
public static class AlertLifecycle
{
    /// <summary>Of one alert: more than a day of coming and going, and few enough for the headers of a mail.</summary>
    private const int NoticesKept = 50;

    public static ImmutableArray<AlertEvent> Decide(SiteAlerts alerts, TellInput input, SitePlan plan)
    {
        var deciding = new Deciding(alerts, input.Now, plan);
        deciding.MoveTimers(input.ClockMoved);
        foreach (var changes in input.Changes)
        {
            deciding.Reconcile(changes);
        }

        foreach (var command in input.Commands)
        {
            deciding.Obey(command);
        }

        deciding.EndShelves();
        deciding.Explain(input.Causes);
        return [.. deciding.Events];
    }

    public static SiteAlerts Apply(SiteAlerts alerts, IEnumerable<AlertEvent> events)
    {
        foreach (var change in events)
        {
            alerts = Apply(alerts, change);
        }

        return alerts;
    }

    private static SiteAlerts Apply(SiteAlerts alerts, AlertEvent change)
    {
        if (change is AlertRaised raised)
        {
            return alerts with { Alerts = alerts.Alerts.Add(Born(raised)) };
        }

        for (var i = 0; i < alerts.Alerts.Length; i++)
        {
            if (alerts.Alerts[i].Id == change.AlertId)
            {
                return alerts with { Alerts = alerts.Alerts.SetItem(i, Apply(alerts.Alerts[i], change)) };
            }
        }

        return alerts;
    }

    private static Alert Born(AlertRaised raised) => new(
        raised.AlertId, raised.Site, raised.Finding, AlertState.Unacknowledged, raised.At, NotifiedAt: null, AcknowledgedAt: null,
        AcknowledgedBy: null, Correction: null, ShelvedUntil: null, raised.Finding.RaisedAt, Notices: [], CauseFound: null, Events: 1)
    {
        TimerAt = raised.TellAt,
    };

    /// <summary>The alert after one of its events.</summary>
    public static Alert Apply(Alert alert, AlertEvent change)
    {
        alert = alert with { Events = alert.Events + 1 };
        return change switch
        {
            AlertReraised e => Active(Unanswered(alert) with { Finding = e.Finding, Returns = alert.Returns + 1 }),
            AlertReturned e => Returned(alert with { Finding = e.Finding }),
            AlertCorrected e => Corrected(alert, e),
            AlertReworded e => alert with { Finding = e.Finding },
            AlertAcknowledged e => alert with
            {
                State = alert.Finding.IsOpen ? AlertState.Acknowledged : AlertState.Normal, AcknowledgedAt = e.At, AcknowledgedBy = e.By, TimerAt = null, IsResumed = false,
            },
            AlertShelved e => alert with { State = AlertState.Shelved, ShelvedUntil = e.Until, TimerAt = null },
            AlertUnshelved => Resumed(alert),
            AlertTakenOutOfService => alert with { State = AlertState.OutOfService, ShelvedUntil = null, TimerAt = null },
            AlertReturnedToService => Resumed(alert),
            AlertSuppressed e => alert with { State = AlertState.Suppressed, CausedBy = e.Cause, TimerAt = null },
            AlertCauseEnded e => alert with { TimerAt = e.ReleaseAt },
            AlertReleased => Resumed(alert),
            AlertTimerMoved e => alert with { TimerAt = e.TimerAt },
            AlertClosed e => alert with { State = AlertState.Normal, CauseFound = e.CauseFound, ShelvedUntil = null, TimerAt = null },
            AlertNotified e => Told(alert, e),
            _ => alert,
        };
    }

    private static bool IsHeld(Alert alert) => alert.State is AlertState.Shelved or AlertState.OutOfService or AlertState.Suppressed;

    private static Alert Unanswered(Alert alert) => alert with { AcknowledgedAt = null, AcknowledgedBy = null };

    /// <summary>In view: unacknowledged while its condition holds; else what a return makes of it.</summary>
    private static Alert Active(Alert alert) =>
        IsHeld(alert) ? alert : alert.Finding.IsOpen ? alert with { State = AlertState.Unacknowledged } : Returned(alert with { State = AlertState.Unacknowledged });

    /// <summary>Back in view, and nobody's any more.</summary>
    private static Alert Resumed(Alert alert) => Active(Unanswered(alert) with
    {
        State = AlertState.Unacknowledged, ShelvedUntil = null, TimerAt = null, IsResumed = alert.OwesEnding && alert.Finding.IsOpen,
    });

    private static Alert Returned(Alert alert) => alert.State switch
    {
        // What nobody was told of needs nobody's acknowledgement.
        AlertState.Unacknowledged => alert with { State = alert.NotifiedAt is null ? AlertState.Normal : AlertState.ReturnedUnacknowledged, TimerAt = null, IsResumed = false },
        AlertState.Acknowledged or AlertState.Suppressed => alert with { State = AlertState.Normal, TimerAt = null },
        _ => alert,
    };

    private static Alert Told(Alert alert, AlertNotified e)
    {
        // What became graver is not what was acknowledged.
        var told = e.Reason == NotifyReason.Graver ? Active(Unanswered(alert)) : alert;
        return told with
        {
            NotifiedAt = alert.NotifiedAt ?? e.At, Notices = Kept(alert.Notices.Add(new(alert.Events - 1, e.Reason, e.At))), Step = e.Step, TimerAt = e.NextAt,
            GravestTold = e.Reason is NotifyReason.Cleared ? null : e.Gravest ?? alert.GravestTold, IsResumed = false,
        };
    }

    /// <summary>The first, which is the root of the threads of mails, and the newest: what nobody ever acknowledges must not grow for ever.</summary>
    private static ImmutableArray<Notice> Kept(ImmutableArray<Notice> notices) => notices.Length > NoticesKept ? notices.RemoveAt(1) : notices;

    private static Alert Corrected(Alert alert, AlertCorrected e)
    {
        var wasOpen = alert.Finding.IsOpen;
        alert = alert with
        {
            // A first episode that moved back is still this alert's, also after another one followed it.
            Finding = e.Finding, Correction = e.Correction, FirstRaisedAt = e.Finding.RaisedAt < alert.FirstRaisedAt ? e.Finding.RaisedAt : alert.FirstRaisedAt,
        };
        if (e.Correction == AlertCorrection.Withdrawn)
        {
            return alert with { State = AlertState.Normal, ShelvedUntil = null, TimerAt = null };
        }

        return (wasOpen, e.Finding.IsOpen) switch
        {
            (false, true) => Active(Unanswered(alert)),
            (true, false) => Returned(alert),
            _ => alert,
        };
    }

    /// <summary>Ascending by creation: milliseconds of the wall clock, then what tells apart two alerts of one millisecond.</summary>
    private static string NewId(SiteId site, Finding finding, DateTimeOffset now)
    {
        var name = string.Create(
            CultureInfo.InvariantCulture, $"{site.Value}/{finding.Device.Value}/{FindingNames.Of(finding.Kind)}/{finding.RaisedAt.UtcTicks}");
        var hash = SHA256.HashData(Encoding.UTF8.GetBytes(name));
        return string.Create(CultureInfo.InvariantCulture, $"{now.ToUnixTimeMilliseconds():x12}-{Convert.ToHexStringLower(hash.AsSpan(0, 4))}");
    }

    /// <summary>One decision in progress: each event is applied at once, so that the next one sees it.</summary>
    private sealed class Deciding(SiteAlerts alerts, DateTimeOffset now, SitePlan plan)
    {
        private SiteAlerts alerts = alerts;

        public List<AlertEvent> Events { get; } = [];

        private void Add(AlertEvent change)
        {
            Events.Add(change);
            alerts = Apply(alerts, change);
        }

        public void Reconcile(FindingChanges changes)
        {
            var matched = new HashSet<string>(StringComparer.Ordinal);
            foreach (var finding in changes.Findings)
            {
                if (Find(finding, matched) is { } alert)
                {
                    matched.Add(alert.Id);
                    Update(alert, finding);
                }
                else if (Raise(finding) is { } id)
                {
                    matched.Add(id);
                }
            }

            foreach (var alert in alerts.Alerts.Where(a => a.Finding.Scope == changes.Scope && !matched.Contains(a.Id)))
            {
                if (alert.Correction != AlertCorrection.Withdrawn && (alert.Finding.ClearedAt ?? DateTimeOffset.MaxValue) > changes.From)
                {
                    Add(new AlertCorrected(alert.Id, now, alert.Finding with { ClearedAt = alert.Finding.ClearedAt ?? now }, AlertCorrection.Withdrawn));
                }
            }
        }

        private Alert? Find(Finding finding, HashSet<string> matched)
        {
            Alert? overlapping = null;
            foreach (var alert in alerts.Alerts)
            {
                if (alert.Finding.Kind != finding.Kind || alert.Finding.Device != finding.Device)
                {
                    continue;
                }

                if (alert.Finding.RaisedAt == finding.RaisedAt)
                {
                    return alert;
                }

                if (!matched.Contains(alert.Id) && alert.Finding.IsSameAs(finding))
                {
                    overlapping = alert;
                }
            }

            return overlapping;
        }

        private void Update(Alert alert, Finding finding)
        {
            var known = alert.Finding;
            var moved = alert.Correction == AlertCorrection.Withdrawn || known.Since != finding.Since || known.RaisedAt != finding.RaisedAt
                || (known.ClearedAt is not null && known.ClearedAt != finding.ClearedAt);
            if (moved)
            {
                Add(new AlertCorrected(alert.Id, now, finding, AlertCorrection.Moved));
            }
            else if (known.IsOpen && !finding.IsOpen)
            {
                Add(new AlertReturned(alert.Id, now, finding));
            }
            else if (!known.SaysTheSame(finding))
            {
                Add(new AlertReworded(alert.Id, now, finding));
            }
        }

        /// <returns>The alert that the finding now belongs to; null when it is an episode that an alert has already lived through.</returns>
        private string? Raise(Finding finding)
        {
            var akin = alerts.Alerts.Where(a => a.Finding.Kind == finding.Kind && a.Finding.Device == finding.Device).ToList();
            if (akin.Any(a => a.FirstRaisedAt <= finding.RaisedAt && finding.RaisedAt < a.Finding.RaisedAt))
            {
                return null;
            }

            var id = akin.Find(a => a.IsOpen && a.Finding.RaisedAt < finding.RaisedAt)?.Id;
            if (id is not null)
            {
                Add(new AlertReraised(id, now, finding with { ClearedAt = null }));
            }
            else
            {
                id = NewId(alerts.Site, finding, now);
                var wait = Causality.WaitOf(finding.Kind, plan);
                Add(new AlertRaised(id, now, alerts.Site, finding with { ClearedAt = null }, wait > TimeSpan.Zero ? now + wait : null));
                if (IsOutOfService(finding.Device))
                {
                    Add(new AlertTakenOutOfService(id, now, By: null, Note: null));
                }
            }

            if (!finding.IsOpen)
            {
                Add(new AlertReturned(id, now, finding));
            }

            return id;
        }

        public void Obey(AlertCommand command)
        {
            if (alerts.Alerts.FirstOrDefault(a => a.Id == command.AlertId) is not { } alert)
            {
                return;
            }

            // A device is in service or it is not: all of its alerts go with it.
            foreach (var other in command is TakeOutOfService or ReturnToService ? alerts.Alerts.Where(a => a.Finding.Device == alert.Finding.Device && a.Id != alert.Id) : [])
            {
                Obey(command, other);
            }

            Obey(command, alert);
        }

        private void Obey(AlertCommand command, Alert alert)
        {
            AlertEvent? change = (alert, command) switch
            {
                ({ State: AlertState.Unacknowledged or AlertState.ReturnedUnacknowledged }, Acknowledge c) => new AlertAcknowledged(alert.Id, now, c.By, c.Note),
                ({ State: AlertState.Acknowledged }, Acknowledge { Note: { } note } c) => new AlertNoted(alert.Id, now, c.By, note),
                ({ IsOpen: true }, Shelve c) when c.Until > now => new AlertShelved(alert.Id, now, c.By, c.Until, c.Reason),
                ({ State: AlertState.Shelved }, Unshelve c) => new AlertUnshelved(alert.Id, now, c.By),
                ({ IsOpen: true, State: not AlertState.OutOfService }, TakeOutOfService c) => new AlertTakenOutOfService(alert.Id, now, c.By, c.Note),
                ({ State: AlertState.OutOfService }, ReturnToService c) => new AlertReturnedToService(alert.Id, now, c.By),
                ({ CauseFound: null } or { IsOpen: true }, Close c) => new AlertClosed(alert.Id, now, c.By, c.CauseFound, c.Note),
                (_, AddNote c) => new AlertNoted(alert.Id, now, c.By, c.Note),
                _ => null,
            };
            if (change is not null)
            {
                Add(change);
            }
        }

        private bool IsOutOfService(DeviceId device) => alerts.Alerts.Any(a => a.Finding.Device == device && a.State == AlertState.OutOfService);

        public void EndShelves()
        {
            foreach (var alert in alerts.Alerts.Where(a => a.State == AlertState.Shelved && a.ShelvedUntil <= now))
            {
                Add(new AlertUnshelved(alert.Id, now, By: null));
            }
        }

        public void MoveTimers(TimeSpan by)
        {
            foreach (var alert in alerts.Alerts.Where(a => by != TimeSpan.Zero && a.TimerAt is not null))
            {
                Add(new AlertTimerMoved(alert.Id, now, alert.TimerAt!.Value + by));
            }
        }

        /// <summary>Hangs consequences under their causes, and lets go those whose cause is over.</summary>
        public void Explain(ImmutableArray<OuterCause> causes)
        {
            // Again until nothing moves: what hangs under an alert goes with it when that is hung under another.
            for (var (i, before) = (0, -1); i < alerts.Alerts.Length && Events.Count != before; i++)
            {
                before = Events.Count;
                foreach (var alert in alerts.Alerts.Where(a => a.IsOpen && a.Finding.IsOpen && a.State is not (AlertState.Shelved or AlertState.OutOfService)))
                {
                    Explain(alert, Causality.CauseOf(alert, alerts.Alerts, causes, plan));
                }
            }
        }

        private void Explain(Alert alert, string? cause)
        {
            var isHung = alert.State == AlertState.Suppressed;
            if (cause is not null && !(isHung && alert.CausedBy == cause && alert.TimerAt is null))
            {
                Add(new AlertSuppressed(alert.Id, now, cause));
            }
            else if (cause is null && isHung && alert.TimerAt is null)
            {
                Add(new AlertCauseEnded(alert.Id, now, now + Causality.GraceOf(alert.Finding.Kind)));
            }
            else if (cause is null && isHung && alert.TimerAt <= now)
            {
                Add(new AlertReleased(alert.Id, now));
            }
        }
    }
}
