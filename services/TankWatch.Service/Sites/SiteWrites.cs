using System.Collections.Immutable;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

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
