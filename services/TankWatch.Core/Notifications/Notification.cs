using TankWatch.Core.Alerts;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Notifications;

/// <summary>Why a notice is, or is not, sent. One name serves mail, metric, log and page.</summary>
public enum NotifyReason { Opened, Reopened, Cleared, NothingNew, CatchingUp, BelowMailPriority, NobodyToTell, OnShelf }

/// <summary>
/// An intention to tell one person about one alert. It is saved in the transaction of the alert event it follows from; sending
/// may repeat after a crash, always under the same <see cref="Key"/>.
/// </summary>
/// <param name="Key">Names the intention for ever; the mail's Message-ID is made of it.</param>
/// <param name="ThreadKeys">Keys of the earlier intentions about this alert to this person, oldest first (RFC 5322, 3.6.4).</param>
/// <param name="Reason">Opened, Reopened or Cleared.</param>
/// <param name="To">The person.</param>
/// <param name="Alert">The alert as it stood.</param>
public sealed record Notification(
    string Key, System.Collections.Immutable.ImmutableArray<string> ThreadKeys, NotifyReason Reason, Contact To, Alert Alert);
