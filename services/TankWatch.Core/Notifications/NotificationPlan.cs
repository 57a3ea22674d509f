using System.Collections.Immutable;
using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Notifications;

/// <summary>Who is told what, and why; also why not.</summary>
public static class NotificationPlan
{
    /// <summary>Once told that it ended, people hear again of the same alert only after this pause, however often it comes and goes.</summary>
    public static readonly TimeSpan ReopenPause = TimeSpan.FromHours(1);

    /// <summary>What is critical is told again as soon as it has held for so long without a break: a pause must not hide it, and a flicker is no news (our choice).</summary>
    public static readonly TimeSpan CriticalPause = TimeSpan.FromMinutes(5);

    /// <param name="alerts">After everything else was decided.</param>
    /// <param name="input">Of the same step.</param>
    /// <param name="roster">Who is to be told.</param>
    /// <returns>Notices for the outbox, and the events that remember them.</returns>
    public static (ImmutableArray<Notification> Notices, ImmutableArray<AlertEvent> Told) Decide(SiteAlerts alerts, TellInput input, DutyRoster roster)
    {
        var notices = ImmutableArray.CreateBuilder<Notification>();
        var told = ImmutableArray.CreateBuilder<AlertEvent>();
        foreach (var alert in alerts.Alerts)
        {
            var consequences = ConsequencesOf(alert, alerts);
            var reason = Why(alert, consequences, input);
            if (!Tells(reason))
            {
                continue;
            }

            var asTold = reason == NotifyReason.Cleared ? alert : alert with { GravestTold = Gravest(alert, consequences) };
            var (first, last) = StepsOf(asTold, reason, roster);
            var nextAt = reason == NotifyReason.Cleared ? null : roster.NextAt(asTold, last, input.Now);
            told.Add(new AlertNotified(alert.Id, input.Now, reason, last, nextAt, asTold.GravestTold));
            foreach (var contact in roster.Between(first, last).Where(contact => DutyRoster.WhyNot(asTold, contact) is null))
            {
                var hearsAt = roster.HearsAt(asTold, contact, input.Now);
                notices.Add(new(KeyOf(alert, alert.Events, contact), [.. alert.Notices.Select(notice => KeyOf(alert, notice.Number, contact))], reason, contact, asTold)
                {
                    Consequences = consequences, NotBefore = hearsAt > input.Now ? hearsAt : null,
                });
            }
        }

        return (notices.ToImmutable(), told.ToImmutable());
    }

    /// <summary>Whether a reason is one to tell people, and not one for silence.</summary>
    public static bool Tells(NotifyReason reason) => reason <= NotifyReason.StillHolds;

    /// <summary>The one decision of what an alert has to say now.</summary>
    /// <param name="alert">As it stands.</param>
    /// <param name="consequences">What hangs under it: <see cref="ConsequencesOf"/>.</param>
    /// <param name="input">Of this step.</param>
    public static NotifyReason Why(Alert alert, ImmutableArray<Finding> consequences, TellInput input)
    {
        switch (alert.State)
        {
            case AlertState.Shelved or AlertState.OutOfService:
                return NotifyReason.OnShelf;
            case AlertState.Suppressed:
                return NotifyReason.Explained;
        }

        // Closed by hand, or withdrawn, it holds no longer for people, whatever the water does.
        var holds = alert.Finding.IsOpen && alert.IsOpen;
        var says = (holds, alert.OwesEnding) switch
        {
            (true, false) => Opening(alert, consequences, input.Now),
            (true, true) => Further(alert, consequences, input.Now),
            (false, true) => NotifyReason.Cleared,
            _ => NotifyReason.NothingNew,
        };
        return Tells(says) && !input.CaughtUp ? NotifyReason.CatchingUp : says;
    }

    /// <returns>The open findings that hang under an alert.</returns>
    public static ImmutableArray<Finding> ConsequencesOf(Alert alert, SiteAlerts alerts) =>
        [.. alerts.Alerts.Where(a => a.CausedBy == alert.Id && a.State == AlertState.Suppressed && a.Finding.IsOpen).Select(a => a.Finding)];

    /// <returns>Null while nothing that hangs under an alert is, or was told to be, graver than itself.</returns>
    private static Priority? Gravest(Alert alert, ImmutableArray<Finding> consequences)
    {
        var gravest = consequences.Aggregate(alert.Gravity, (gravest, consequence) => consequence.Priority > gravest ? consequence.Priority : gravest);
        return gravest > alert.Finding.Priority ? gravest : null;
    }

    private static NotifyReason Opening(Alert alert, ImmutableArray<Finding> consequences, DateTimeOffset now)
    {
        if (alert.Notices is not [.., var last])
        {
            return alert.TimerAt > now ? NotifyReason.AwaitingCause : NotifyReason.Opened;
        }

        // A clock that was set back must not silence anything.
        var isPauseOver = now < last.At || now - last.At >= ReopenPause;
        return isPauseOver || consequences.Add(alert.Finding).Any(finding => finding.Priority == Priority.Critical && now - finding.RaisedAt >= CriticalPause)
            ? NotifyReason.Reopened : NotifyReason.TooSoon;
    }

    private static NotifyReason Further(Alert alert, ImmutableArray<Finding> consequences, DateTimeOffset now) =>
        consequences.Any(consequence => consequence.Priority > alert.Gravity) ? NotifyReason.Graver
        : alert.IsResumed ? NotifyReason.StillHolds
        : alert.State == AlertState.Unacknowledged && alert.TimerAt <= now ? NotifyReason.Escalated
        : NotifyReason.NothingNew;

    /// <summary>The first and the last step of the roster that a notice goes to.</summary>
    private static (int First, int Last) StepsOf(Alert alert, NotifyReason reason, DutyRoster roster) => reason switch
    {
        NotifyReason.Opened or NotifyReason.Reopened => (0, roster.HearingFrom(0, alert)),
        NotifyReason.Escalated => (alert.Step + 1, roster.HearingFrom(alert.Step + 1, alert)),
        _ => (0, alert.Step), // Whoever heard that it began hears how it goes on.
    };

    /// <summary>Names the intention for ever: the alert, the number of its event, and the person.</summary>
    private static string KeyOf(Alert alert, int number, Contact contact)
    {
        var person = SHA256.HashData(Encoding.UTF8.GetBytes(contact.Email!.ToLowerInvariant()));
        return string.Create(CultureInfo.InvariantCulture, $"{alert.Id}.{number}.{Convert.ToHexStringLower(person.AsSpan(0, 4))}");
    }
}
