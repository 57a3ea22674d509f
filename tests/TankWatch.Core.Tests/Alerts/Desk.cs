using System.Collections.Immutable;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using Xunit;

namespace TankWatch.Core.Tests.Alerts;

/// <summary>The alerts of a site with two people to tell, and everything that was told. Each telling is tried twice: the second must be silent.</summary>
internal sealed class Desk
{
    public static readonly SitePlan Plan = Plans.House(site: """
        , "contacts": [ { "name": "Ada", "email": "ada@example.org" }, { "name": "Bo", "email": "bo@example.org" }, { "name": "Cy", "phone": "+1" } ]
        """);

    private DateTimeOffset now = Scenario.Midnight;
    private SitePlan plan = Plan;
    private ImmutableArray<OuterCause> causes = [];

    public SiteAlerts Alerts { get; private set; } = SiteAlerts.None(new("house"));
    public List<AlertEvent> Events { get; } = [];
    public List<Notification> Mails { get; } = [];

    public Alert One => Assert.Single(Alerts.Alerts);

    public IEnumerable<NotifyReason> ToldAda => Mails.Where(m => m.To.Name == "Ada").Select(m => m.Reason);

    public Desk At(string clock)
    {
        now = Scenario.TimeOf(clock);
        return this;
    }

    public Desk At(DateTimeOffset time)
    {
        now = time;
        return this;
    }

    /// <summary>From now on with other people, or another arrangement.</summary>
    public Desk With(SitePlan other)
    {
        plan = other;
        return this;
    }

    /// <summary>From now on these hold outside the site.</summary>
    public Desk Outside(params OuterCause[] outer)
    {
        causes = [.. outer];
        return this;
    }

    /// <summary>Nothing is kept but the events.</summary>
    public void Restart() => Alerts = AlertLifecycle.Apply(SiteAlerts.None(Alerts.Site), Events);

    /// <summary>The wall clock is set; no time passes.</summary>
    public Desk ClockSet(TimeSpan by)
    {
        now += by;
        Take(SiteStep.Tell(Alerts, new(now, CaughtUp: true, [], []) { Causes = causes, ClockMoved = by }, plan));
        return this;
    }

    /// <summary>The water's findings from a time on, complete.</summary>
    public Desk Findings(string from, params Finding[] findings) =>
        Tell([new(FindingScope.Water, Scenario.TimeOf(from), [.. findings])], caughtUp: true);

    public Desk CatchingUp(string from, params Finding[] findings) =>
        Tell([new(FindingScope.Water, Scenario.TimeOf(from), [.. findings])], caughtUp: false);

    public Desk Obeys(params AlertCommand[] commands) => Tell([], caughtUp: true, commands);

    public Desk Waits() => Tell([], caughtUp: true);

    public Desk Tell(ImmutableArray<FindingChanges> changes, bool caughtUp, params AlertCommand[] commands)
    {
        var told = SiteStep.Tell(Alerts, new(now, caughtUp, changes, [.. commands]) { Causes = causes }, plan);
        var again = SiteStep.Tell(told.Next, new(now, caughtUp, changes, []) { Causes = causes }, plan);
        Assert.Empty(again.Events);
        Assert.Empty(again.Notifications);
        Take(told);
        return this;
    }

    private void Take(Told told)
    {
        var folded = AlertLifecycle.Apply(Alerts, told.Events);
        Assert.Equal(folded.Alerts.AsEnumerable(), told.Next.Alerts.AsEnumerable(), (a, b) => a.Id == b.Id && a.State == b.State && a.Events == b.Events);
        Alerts = told.Next;
        Events.AddRange(told.Events);
        Mails.AddRange(told.Notifications);
    }

    /// <param name="raised">When the rule decided.</param>
    /// <param name="cleared">Null while it holds.</param>
    /// <param name="since">Onset; null for the moment it was raised.</param>
    /// <param name="kind">Of a tank or a pump.</param>
    /// <param name="priority">Low goes by no mail.</param>
    public static Finding Found(
        string raised, string? cleared = null, string? since = null, FindingKind kind = FindingKind.OverflowRisk, Priority priority = Priority.Critical) => new(
        kind, new("p1"), priority, Scenario.TimeOf(since ?? raised), Scenario.TimeOf(raised), cleared is null ? null : Scenario.TimeOf(cleared), null, [],
        new(Phrase.Literal("It runs on."), [], [], []));
}
