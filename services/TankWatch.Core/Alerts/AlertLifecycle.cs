using System.Collections.Immutable;
using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using TankWatch.Core.Findings;

namespace TankWatch.Core.Alerts;

/// <summary>
/// How alerts change. <see cref="Decide"/> yields events and <see cref="Apply(SiteAlerts, IEnumerable{AlertEvent})"/> cannot fail; deciding
/// again on the result yields nothing. The transitions are those of an alarm without a confirm step (OPC 10000-9, B.1.2).
/// </summary>
public static class AlertLifecycle
{
    public static ImmutableArray<AlertEvent> Decide(SiteAlerts alerts, TellInput input)
    {
        var deciding = new Deciding(alerts, input.Now);
        foreach (var changes in input.Changes)
        {
            deciding.Reconcile(changes);
        }

        foreach (var command in input.Commands)
        {
            deciding.Obey(command);
        }

        deciding.EndShelves();
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
        AcknowledgedBy: null, Correction: null, ShelvedUntil: null, raised.Finding.RaisedAt, Notices: [], CauseFound: null, Events: 1);

    /// <summary>The alert after one of its events.</summary>
    public static Alert Apply(Alert alert, AlertEvent change)
    {
        alert = alert with { Events = alert.Events + 1 };
        return change switch
        {
            AlertReraised e => Active(alert with { Finding = e.Finding, AcknowledgedAt = null, AcknowledgedBy = null }),
            AlertReturned e => Returned(alert with { Finding = e.Finding }),
            AlertCorrected e => Corrected(alert, e),
            AlertReworded e => alert with { Finding = e.Finding },
            AlertAcknowledged e => alert with
            {
                State = alert.Finding.IsOpen ? AlertState.Acknowledged : AlertState.Normal, AcknowledgedAt = e.At, AcknowledgedBy = e.By,
            },
            AlertShelved e => alert with { State = AlertState.Shelved, ShelvedUntil = e.Until },
            AlertUnshelved => Active(alert with { State = AlertState.Unacknowledged, ShelvedUntil = null, AcknowledgedAt = null, AcknowledgedBy = null }),
            AlertTakenOutOfService => alert with { State = AlertState.OutOfService, ShelvedUntil = null },
            AlertReturnedToService => Active(alert with { State = AlertState.Unacknowledged, AcknowledgedAt = null, AcknowledgedBy = null }),
            AlertClosed e => alert with { State = AlertState.Normal, CauseFound = e.CauseFound, ShelvedUntil = null },
            AlertNotified e => alert with
            {
                NotifiedAt = alert.NotifiedAt ?? e.At, Notices = alert.Notices.Add(new(alert.Events - 1, e.Reason, e.At)),
            },
            _ => alert,
        };
    }

    private static bool IsHeld(Alert alert) => alert.State is AlertState.Shelved or AlertState.OutOfService;

    /// <summary>Back in view: unacknowledged while its condition holds; else what a return makes of it.</summary>
    private static Alert Active(Alert alert) =>
        IsHeld(alert) ? alert : alert.Finding.IsOpen ? alert with { State = AlertState.Unacknowledged } : Returned(alert with { State = AlertState.Unacknowledged });

    private static Alert Returned(Alert alert) => alert.State switch
    {
        // What nobody was told of needs nobody's acknowledgement.
        AlertState.Unacknowledged => alert with { State = alert.NotifiedAt is null ? AlertState.Normal : AlertState.ReturnedUnacknowledged },
        AlertState.Acknowledged => alert with { State = AlertState.Normal },
        _ => alert,
    };

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
            return alert with { State = AlertState.Normal, ShelvedUntil = null };
        }

        return (wasOpen, e.Finding.IsOpen) switch
        {
            (false, true) => Active(alert with { AcknowledgedAt = null, AcknowledgedBy = null }),
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
    private sealed class Deciding(SiteAlerts alerts, DateTimeOffset now)
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
                Add(new AlertRaised(id, now, alerts.Site, finding with { ClearedAt = null }));
            }

            if (!finding.IsOpen)
            {
                Add(new AlertReturned(id, now, finding));
            }

            return id;
        }

        public void Obey(AlertCommand command)
        {
            var alert = alerts.Alerts.FirstOrDefault(a => a.Id == command.AlertId);
            AlertEvent? change = (alert, command) switch
            {
                (null, _) => null,
                ({ State: AlertState.Unacknowledged or AlertState.ReturnedUnacknowledged }, Acknowledge c) => new AlertAcknowledged(c.AlertId, now, c.By, c.Note),
                ({ State: AlertState.Acknowledged }, Acknowledge { Note: { } note } c) => new AlertNoted(c.AlertId, now, c.By, note),
                ({ IsOpen: true }, Shelve c) when c.Until > now => new AlertShelved(c.AlertId, now, c.By, c.Until, c.Reason),
                ({ State: AlertState.Shelved }, Unshelve c) => new AlertUnshelved(c.AlertId, now, c.By),
                ({ IsOpen: true, State: not AlertState.OutOfService }, TakeOutOfService c) => new AlertTakenOutOfService(c.AlertId, now, c.By, c.Note),
                ({ State: AlertState.OutOfService }, ReturnToService c) => new AlertReturnedToService(c.AlertId, now, c.By),
                ({ CauseFound: null } or { IsOpen: true }, Close c) => new AlertClosed(c.AlertId, now, c.By, c.CauseFound),
                (_, AddNote c) => new AlertNoted(c.AlertId, now, c.By, c.Note),
                _ => null,
            };
            if (change is not null)
            {
                Add(change);
            }
        }

        public void EndShelves()
        {
            foreach (var alert in alerts.Alerts.Where(a => a.State == AlertState.Shelved && a.ShelvedUntil <= now))
            {
                Add(new AlertUnshelved(alert.Id, now, By: null));
            }
        }
    }
}
