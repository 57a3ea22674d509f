using System.Collections.Immutable;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Notifications;

/// <summary>Why a notice is, or is not, sent. One name serves mail, metric, log and page.</summary>
public enum NotifyReason
{
    /// <summary>It holds, and people hear of it for the first time.</summary>
    Opened,

    /// <summary>It was over, as people were told, and holds again.</summary>
    Reopened,

    /// <summary>It is over.</summary>
    Cleared,

    /// <summary>Nobody acknowledged it in time: the next people hear of it.</summary>
    Escalated,

    /// <summary>Something graver follows from it.</summary>
    Graver,

    /// <summary>It was shelved, out of service or explained by something else, is so no longer, and still holds.</summary>
    StillHolds,

    // Why not.
    NothingNew, CatchingUp, AwaitingCause, Explained, OnShelf, TooSoon, InDigest, NotWanted, NobodyToTell,
}

/// <summary>
/// An intention to tell one person about one alert. It is saved in the transaction of the alert event it follows from; sending
/// may repeat after a crash, always under the same <see cref="Key"/>.
/// </summary>
/// <param name="Key">Names the intention for ever; the mail's Message-ID is made of it.</param>
/// <param name="ThreadKeys">Keys of the earlier intentions about this alert to this person, oldest first (RFC 5322, 3.6.4): of <see cref="Alerts.Alert.Notices"/>.</param>
/// <param name="Reason">One of those that say why.</param>
/// <param name="To">The person.</param>
/// <param name="Alert">The alert as it stood.</param>
public sealed record Notification(string Key, ImmutableArray<string> ThreadKeys, NotifyReason Reason, Contact To, Alert Alert)
{
    /// <summary>What hung under the alert then.</summary>
    public ImmutableArray<Finding> Consequences { get; init; } = [];

    /// <summary>The end of the person's quiet hours, UTC, when it is to wait for that.</summary>
    public DateTimeOffset? NotBefore { get; init; }
}
