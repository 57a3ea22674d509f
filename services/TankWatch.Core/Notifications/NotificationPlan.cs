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

    /// <param name="alerts">After everything else was decided.</param>
    /// <param name="input">Of the same step.</param>
    /// <param name="plan">For the contacts.</param>
    /// <returns>Notices for the outbox, and the events that remember them.</returns>
    public static (ImmutableArray<Notification> Notices, ImmutableArray<AlertEvent> Told) Decide(SiteAlerts alerts, TellInput input, SitePlan plan)
    {
        var notices = ImmutableArray.CreateBuilder<Notification>();
        var told = ImmutableArray.CreateBuilder<AlertEvent>();
        foreach (var alert in alerts.Alerts)
        {
            var reason = Why(alert, input.CaughtUp, input.Now);
            if (reason is not (NotifyReason.Opened or NotifyReason.Reopened or NotifyReason.Cleared))
            {
                continue;
            }

            told.Add(new AlertNotified(alert.Id, input.Now, reason));
            foreach (var contact in plan.Contacts)
            {
                if (Reaches(alert, contact) == reason)
                {
                    notices.Add(To(contact, alert, reason));
                }
            }

            NotifyReason Reaches(Alert a, Contact c) => WhyNot(a, c) ?? reason;
        }

        return (notices.ToImmutable(), told.ToImmutable());
    }

    /// <summary>The one decision of what an alert has to say now.</summary>
    public static NotifyReason Why(Alert alert, bool caughtUp, DateTimeOffset now)
    {
        if (alert.State is AlertState.Shelved or AlertState.OutOfService or AlertState.Suppressed)
        {
            return NotifyReason.OnShelf;
        }

        // Closed by hand, or withdrawn, it holds no longer for people, whatever the water does.
        var holds = alert.Finding.IsOpen && alert.IsOpen;
        var says = (holds, alert.OwesEnding, alert.Notices) switch
        {
            (true, _, []) => NotifyReason.Opened,
            (true, false, [.., var last]) when now - last.At >= ReopenPause => NotifyReason.Reopened,
            (false, true, _) => NotifyReason.Cleared,
            _ => NotifyReason.NothingNew,
        };
        return says == NotifyReason.NothingNew || caughtUp ? says : NotifyReason.CatchingUp;
    }

    /// <summary>Why a notice goes by a person; null when it does not.</summary>
    public static NotifyReason? WhyNot(Alert alert, Contact contact) =>
        alert.Finding.Priority == Priority.Low ? NotifyReason.BelowMailPriority
        : contact.Email is null ? NotifyReason.NobodyToTell : null;

    private static Notification To(Contact contact, Alert alert, NotifyReason reason) => new(
        KeyOf(alert, alert.Events, contact),
        [.. alert.Notices.Select(notice => KeyOf(alert, notice.Number, contact))], reason, contact, alert);

    /// <summary>Names the intention for ever: the alert, the number of its event, and the person.</summary>
    private static string KeyOf(Alert alert, int number, Contact contact)
    {
        var person = SHA256.HashData(Encoding.UTF8.GetBytes(contact.Email!.ToLowerInvariant()));
        return string.Create(CultureInfo.InvariantCulture, $"{alert.Id}.{number}.{Convert.ToHexStringLower(person.AsSpan(0, 4))}");
    }
}
