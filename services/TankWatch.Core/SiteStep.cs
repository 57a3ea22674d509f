using System.Collections.Immutable;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

namespace TankWatch.Core;

/// <summary>What one step of the judgement made.</summary>
/// <param name="Next">The state to go on from.</param>
/// <param name="Findings">Findings raised or cleared in this step, as they now are.</param>
/// <param name="Runs">Runs that ended in this step.</param>
/// <param name="Days">Local days whose figures this step closed or completed; a later one of the same date replaces it.</param>
public readonly record struct Judged(
    SiteState Next, ImmutableArray<Finding> Findings, ImmutableArray<PumpRun> Runs, ImmutableArray<SiteDay> Days);

/// <summary>Whose judgement a change is: of water and pumps, in event time, or of the link to a unit, in time of receipt.</summary>
public enum FindingScope { Water, Link }

/// <summary>
/// The findings of one scope over a stretch of time, complete: what does not stand here did not hold in [<see cref="From"/>, now).
/// </summary>
/// <param name="Scope">Findings of the other scope are not spoken of.</param>
/// <param name="From">Findings that cleared before this are not spoken of.</param>
/// <param name="Findings">Open, or cleared at or after <paramref name="From"/>.</param>
public readonly record struct FindingChanges(FindingScope Scope, DateTimeOffset From, ImmutableArray<Finding> Findings);

/// <summary>The alerts of one site that can still change: the open ones, and those ended within the stretch that late data may rewrite.</summary>
public sealed record SiteAlerts(SiteId Site, ImmutableArray<Alert> Alerts)
{
    public static SiteAlerts None(SiteId site) => new(site, []);

    /// <summary>When something happens to one of them by itself; the end of time when nothing does.</summary>
    public DateTimeOffset DueAt => Alerts.Where(alert => alert.IsOpen).Min(alert => alert.ShelvedUntil ?? alert.TimerAt) ?? DateTimeOffset.MaxValue; // Never both.
}

/// <summary>What was decided to be told.</summary>
/// <param name="Next">The alerts after the events.</param>
/// <param name="Events">To append, in order.</param>
/// <param name="Notifications">To put in the outbox in the same transaction.</param>
public sealed record Told(SiteAlerts Next, ImmutableArray<AlertEvent> Events, ImmutableArray<Notification> Notifications);

/// <summary>Everything Tell depends on besides the alerts.</summary>
/// <param name="Now">Wall clock, UTC.</param>
/// <param name="CaughtUp">The site's messages are as new as the clock: what is open now may be told to people.</param>
/// <param name="Changes">What the judgements now hold; empty when only a person acts or only time passes.</param>
/// <param name="Commands">What people ask.</param>
public sealed record TellInput(DateTimeOffset Now, bool CaughtUp, ImmutableArray<FindingChanges> Changes, ImmutableArray<AlertCommand> Commands)
{
    /// <summary>What holds outside the site and may explain what holds in it.</summary>
    public ImmutableArray<OuterCause> Causes { get; init; } = [];

    /// <summary>By how much the wall clock was set since the last telling; what is to happen by itself moves with it.</summary>
    public TimeSpan ClockMoved { get; init; }
}

/// <summary>
/// The whole way on one screen: observations become findings in <see cref="Judge"/>, findings become alerts and notices in
/// <see cref="Tell"/>. Both are pure. A live site, a replay, a test and the simulator all call these two and nothing else.
/// </summary>
public static class SiteStep
{
    /// <summary>Takes the next observation, or the passing of time, into account. May be run again from any earlier state.</summary>
    /// <param name="state">State up to before <paramref name="input"/>.</param>
    /// <param name="input">Not older than the state: see <see cref="SiteState.IsNewer"/>.</param>
    /// <param name="plan">What is installed.</param>
    public static Judged Judge(SiteState state, SiteInput input, SitePlan plan) => SiteJudge.Step(state, input, plan);

    /// <summary>
    /// Decides what changes in people's view of a site and who is told. Only appends; is never run again over the same ground.
    /// Deciding again on the result yields nothing.
    /// </summary>
    public static Told Tell(SiteAlerts alerts, TellInput input, SitePlan plan)
    {
        var events = AlertLifecycle.Decide(alerts, input, plan);
        var decided = AlertLifecycle.Apply(alerts, events);
        var (notices, told) = NotificationPlan.Decide(decided, input, DutyRoster.Of(plan));
        return new(AlertLifecycle.Apply(decided, told), [.. events, .. told], notices);
    }
}
