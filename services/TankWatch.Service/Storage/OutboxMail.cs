using System.Collections.Immutable;
using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Storage;

/// <summary>What stands in the outbox: a letter about one alert, several of them said in one mail, or a digest.</summary>
public interface IOutboxMail
{
    /// <summary>Names the intention for ever.</summary>
    string Key { get; }

    /// <summary>Without angle brackets; made once, so that a repeat after a crash is seen to be the same mail.</summary>
    string MessageId { get; }

    Contact To { get; }
}

/// <summary>All that is needed to compose a mail, as it was when it was intended: a later change of the site does not rewrite it.</summary>
/// <param name="Notification">The intention.</param>
/// <param name="MessageId">See <see cref="IOutboxMail"/>.</param>
/// <param name="SiteName">As the site file gives it.</param>
/// <param name="TimeZone">The id of the site's time zone.</param>
public sealed record OutboxLetter(Notification Notification, string MessageId, string SiteName, string TimeZone) : IOutboxMail
{
    public string Key => Notification.Key;

    public Contact To => Notification.To;
}

/// <summary>What a letter waited for that could not go at once. Stored names.</summary>
public enum WaitReason { Outage, QuietHours, Cap }

/// <summary>Several letters to one person that waited, said in one mail. Which they are stands with them; what became of their alerts is read when it is composed.</summary>
/// <param name="Key">See <see cref="IOutboxMail"/>.</param>
/// <param name="MessageId">See <see cref="IOutboxMail"/>.</param>
/// <param name="To">The person.</param>
/// <param name="Why">What they waited for, each reason once.</param>
public sealed record GatheredMail(string Key, string MessageId, Contact To, ImmutableArray<WaitReason> Why) : IOutboxMail;

/// <summary>What could wait, of all sites of a person.</summary>
/// <param name="Key">See <see cref="IOutboxMail"/>.</param>
/// <param name="MessageId">See <see cref="IOutboxMail"/>.</param>
/// <param name="To">The person.</param>
/// <param name="Opening">Its first sentence.</param>
/// <param name="Sites">Worst first; none is empty.</param>
public sealed record DigestMail(string Key, string MessageId, Contact To, Phrase Opening, ImmutableArray<DigestSite> Sites) : IOutboxMail
{
    /// <summary>Sites of which it only says that there are more; those of <see cref="Sites"/> not counted.</summary>
    public int MoreSites { get; init; }

    /// <summary>Lines of those sites.</summary>
    public int MoreLines { get; init; }
}

/// <param name="Name">The site's.</param>
/// <param name="Lines">One an alert, worst first.</param>
public sealed record DigestSite(string Name, ImmutableArray<Phrase> Lines);

/// <summary>A mail and how far it has come.</summary>
/// <param name="Position">Ascending by intention.</param>
/// <param name="Mail">What to say, and to whom.</param>
/// <param name="CreatedAt">When it was intended, UTC.</param>
/// <param name="Attempts">Tries so far.</param>
/// <param name="NextAttemptAt">Null when sent, given up, or said by another mail.</param>
/// <param name="SentAt">When it was handed over; of a letter that was gathered, when that mail was.</param>
/// <param name="AbandonedAt">When it was given up.</param>
/// <param name="LastError">One line; null while nothing went wrong.</param>
/// <param name="Trace">The span that led to it, as a W3C <c>traceparent</c>; null when nobody traced.</param>
/// <param name="IsCritical">It never waits for a cap.</param>
/// <param name="KeptBy">The outage or the cap that kept it from going when it could have gone.</param>
/// <param name="GatheredIn">The position of the mail that says it together with others.</param>
public sealed record OutboxEntry(
    long Position, IOutboxMail Mail, DateTimeOffset CreatedAt, int Attempts, DateTimeOffset? NextAttemptAt, DateTimeOffset? SentAt,
    DateTimeOffset? AbandonedAt, string? LastError, string? Trace, bool IsCritical, WaitReason? KeptBy, long? GatheredIn)
{
    public string Key => Mail.Key;

    /// <summary>Of an entry that is about one alert.</summary>
    public OutboxLetter Letter => (OutboxLetter)Mail;

    /// <summary>What it waited for, if for anything but a server that refused it.</summary>
    public WaitReason? WaitedFor => KeptBy ?? (Mail is OutboxLetter { Notification.NotBefore: not null } ? WaitReason.QuietHours : null);
}
