using TankWatch.Core.Notifications;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Storage;

/// <summary>What stands in the outbox: a letter about one alert, or about a visit.</summary>
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

/// <summary>A mail and how far it has come.</summary>
/// <param name="Position">Ascending by intention.</param>
/// <param name="Mail">What to say, and to whom.</param>
/// <param name="CreatedAt">When it was intended, UTC.</param>
/// <param name="Attempts">Tries so far.</param>
/// <param name="NextAttemptAt">Null when sent or given up.</param>
/// <param name="SentAt">When it was handed over.</param>
/// <param name="AbandonedAt">When it was given up.</param>
/// <param name="LastError">One line; null while nothing went wrong.</param>
/// <param name="Trace">The span that led to it, as a W3C <c>traceparent</c>; null when nobody traced.</param>
public sealed record OutboxEntry(
    long Position, IOutboxMail Mail, DateTimeOffset CreatedAt, int Attempts, DateTimeOffset? NextAttemptAt, DateTimeOffset? SentAt,
    DateTimeOffset? AbandonedAt, string? LastError, string? Trace)
{
    public string Key => Mail.Key;

    /// <summary>Of an entry that is about one alert.</summary>
    public OutboxLetter Letter => (OutboxLetter)Mail;
}
