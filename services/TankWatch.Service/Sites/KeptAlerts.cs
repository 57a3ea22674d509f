using System.Collections.Immutable;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>The alerts of one site in memory, who is told of them, and what outside the site may explain them.</summary>
internal sealed class KeptAlerts
{
    /// <summary>Ended alerts stay in memory so long; what reaches further back reads them from the store.</summary>
    private static readonly TimeSpan AlertsKept = TimeSpan.FromDays(1);

    private readonly SitePlan plan;
    private readonly LedgerStore ledger;
    private SiteAlerts alerts;
    private SiteAlerts? viewedAlerts;
    private SiteAlerts? timedAlerts;
    private ImmutableArray<Alert> openAlerts = [];
    private DateTimeOffset dueAt;
    private DateTimeOffset alertsFrom;
    private ImmutableArray<OuterCause> causes = [];

    /// <param name="plan">What is installed.</param>
    /// <param name="ledger">Has its alerts.</param>
    /// <param name="judgedTo">How far the site was judged when it was last saved; null to have all alerts that there are.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public KeptAlerts(SitePlan plan, LedgerStore ledger, DateTimeOffset? judgedTo, DateTimeOffset now)
    {
        (this.plan, this.ledger, People) = (plan, ledger, plan);
        alertsFrom = judgedTo is not { } at ? DateTimeOffset.MinValue : at < now - AlertsKept ? at : now - AlertsKept;
        alerts = new(plan.Id, ledger.ReadAlertsFrom(plan.Id, alertsFrom));
    }

    /// <summary>Those that can still change.</summary>
    public ImmutableArray<Alert> All => alerts.Alerts;

    /// <summary>The open ones, in the order of their ids.</summary>
    public ImmutableArray<Alert> Open
    {
        get
        {
            if (!ReferenceEquals(viewedAlerts, alerts))
            {
                openAlerts = [.. alerts.Alerts.Where(alert => alert.IsOpen).OrderBy(alert => alert.Id, StringComparer.Ordinal)];
                viewedAlerts = alerts;
            }

            return openAlerts;
        }
    }

    /// <summary>When something happens to an alert by itself.</summary>
    public DateTimeOffset DueAt
    {
        get
        {
            if (!ReferenceEquals(timedAlerts, alerts))
            {
                dueAt = alerts.DueAt;
                timedAlerts = alerts;
            }

            return dueAt;
        }
    }

    /// <summary>Something outside has changed that was not told of yet.</summary>
    public bool HasNews { get; private set; }

    /// <summary>The plan, with who declined what can wait.</summary>
    public SitePlan People { get; private set; }

    /// <summary>How far the water's judgement had come when it was last told of.</summary>
    public DateTimeOffset? ToldTo() => alerts.Alerts
        .Where(alert => alert.Finding.Scope == FindingScope.Water && alert.Correction != AlertCorrection.Withdrawn)
        .Max(alert => (DateTimeOffset?)(alert.Finding.ClearedAt ?? alert.Finding.RaisedAt));

    public Alert? Find(string id) => alerts.Alerts.FirstOrDefault(alert => alert.Id == id);

    /// <summary>Has one in memory that was in the store alone.</summary>
    public void Fetch(Alert stored)
    {
        if (Find(stored.Id) is null)
        {
            alerts = alerts with { Alerts = alerts.Alerts.Add(stored) };
        }
    }

    /// <summary>What holds outside the site from now on.</summary>
    public void Outside(ImmutableArray<OuterCause> outer)
    {
        if (!outer.SequenceEqual(causes))
        {
            (causes, HasNews) = (outer, !alerts.Alerts.IsEmpty);
        }
    }

    /// <summary>Who asked to be told of nothing but the critical, in lower case.</summary>
    public void Decline(IReadOnlySet<string> emails) => People = emails.Count == 0 ? plan
        : plan with { Contacts = [.. plan.Contacts.Select(contact => contact with { Declined = contact.Email is { } email && emails.Contains(email.ToLowerInvariant()) })] };

    /// <summary>Decides what changes in people's view, and who is told.</summary>
    /// <param name="changes">What the judgements hold.</param>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="caughtUp">What is open may be told to people.</param>
    /// <param name="command">What somebody asks.</param>
    /// <param name="clockMoved">By how much the wall clock was set.</param>
    public Told Tell(ReadOnlySpan<FindingChanges> changes, DateTimeOffset now, bool caughtUp, AlertCommand? command, TimeSpan clockMoved)
    {
        HasNews = false;
        if (command is null && IsQuiet(changes))
        {
            return new(alerts, [], []);
        }

        ReachBack(changes, now);
        var told = SiteStep.Tell(alerts, new(now, caughtUp, [.. changes], command is null ? [] : [command]) { Causes = causes, ClockMoved = clockMoved }, People);
        alerts = told.Next;
        return told;
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

    /// <summary>Has the alerts in memory that the changes can speak of, and not many more.</summary>
    private void ReachBack(ReadOnlySpan<FindingChanges> changes, DateTimeOffset now)
    {
        foreach (var change in changes)
        {
            if (change.From < alertsFrom)
            {
                // What is in memory may be ahead of the store by what this very step has to write.
                var known = alerts.Alerts.Select(alert => alert.Id).ToHashSet(StringComparer.Ordinal);
                var more = ledger.ReadAlertsFrom(plan.Id, change.From).Where(alert => !known.Contains(alert.Id));
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
}
