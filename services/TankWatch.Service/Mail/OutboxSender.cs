using TankWatch.Service.Own;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>
/// Sends what the outbox holds. A mail may be sent twice when the process dies between the server's answer and our note of it; it
/// then carries the same Message-ID. It is never lost.
/// </summary>
public sealed partial class OutboxSender(
    LedgerStore ledger, MailComposer composer, IMailTransport transport, OutboxBell bell, ReadyState ready, ServiceMetrics metrics, MessageTraces traces, TimeProvider time,
    ILogger<OutboxSender> logger) : BackgroundService
{
    private const int PeopleARound = 50;

    /// <summary>Of one person in a round; what is above comes in the next.</summary>
    private const int MostDue = 500;

    /// <summary>So many in a row whose trouble may be everybody's are taken for that.</summary>
    private const int TroublesToClose = 3;

    private static readonly TimeSpan FirstWait = TimeSpan.FromSeconds(30);
    private static readonly TimeSpan LongestWait = TimeSpan.FromHours(1);
    private static readonly TimeSpan LongestClosed = TimeSpan.FromMinutes(4);
    private static readonly TimeSpan GiveUpAfter = TimeSpan.FromDays(4); // RFC 5321, 4.5.4.1 asks for 4 to 5 days.
    private static readonly TimeSpan LookAtLeastEvery = TimeSpan.FromSeconds(30);

    private readonly WayOut way = new();
    private string? installation;

    /// <summary>How long a mail waits after so many failed tries of its own: 30 s, doubling, at most an hour.</summary>
    /// <remarks>A server that greylists asks for a few minutes; RFC 5321, 4.5.4.1 allows early tries to be closer together than later ones.</remarks>
    public static TimeSpan WaitAfter(int failures) => Doubled(failures, LongestWait);

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        await Task.Yield();
        ready.Set(Stage.Mail, null);
        while (!stoppingToken.IsCancellationRequested)
        {
            var wait = LookAtLeastEvery;
            try
            {
                await SendDueAsync(stoppingToken);
                wait = UntilNext();
            }
            catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
            {
                break;
            }
            catch (Exception fault) when (fault is Microsoft.Data.Sqlite.SqliteException or StoreException)
            {
                ready.Set(Stage.Mail, $"the outbox cannot be read: {Database.OneLine(fault)}");
                LogStoreFailed(fault);
            }

            await WaitAsync(wait, stoppingToken);
        }
    }

    /// <summary>One round: tries what is due for some people, those of whom something critical is due first.</summary>
    internal async Task SendDueAsync(CancellationToken stop)
    {
        var now = time.GetUtcNow();
        var people = ledger.ListDuePeople(now, PeopleARound).ToList();
        if (!way.IsClosed && people.Remove(OwnSite.Address))
        {
            await SendToAsync(OwnSite.Address, stop); // Needs no way out; once there is none it waits like all others, for the watch is to see that no notice leaves.
        }

        if (people.Count == 0 || !way.MayTry(now))
        {
            return;
        }

        if (way.IsClosed)
        {
            ledger.MarkOutage(now); // What came since the last try waited for the way as well.
        }

        if (await transport.OpenAsync(stop) is { } reason)
        {
            Close(reason);
            return;
        }

        try
        {
            foreach (var person in people)
            {
                if (!await SendToAsync(person, stop))
                {
                    return;
                }
            }

            way.Open(); // Also when the mails had troubles of their own alone.
            ready.Set(Stage.Mail, null);
        }
        finally
        {
            await transport.RestAsync();
        }
    }

    /// <returns>False when the way turned out to be closed for all.</returns>
    private async Task<bool> SendToAsync(string person, CancellationToken stop)
    {
        foreach (var entry in Arrange(person))
        {
            var outcome = await TryTracedAsync(entry, stop);
            Settle(entry, outcome);
            if (way.Saw(outcome) is { } reason)
            {
                Close(reason);
                return false;
            }
        }

        return true;
    }

    /// <summary>What goes to a person now; what is to be said in one mail is made one.</summary>
    private IEnumerable<OutboxEntry> Arrange(string person)
    {
        var now = time.GetUtcNow();
        if (person == OwnSite.Address)
        {
            return ledger.ListDue(person, now, MostDue);
        }

        var sendings = ledger.ListSendings(person, now - Gathering.Hour, now);
        var arrangement = Gathering.Of(ledger.ListDue(person, now, MostDue), Gathering.MostAnHour - sendings.Count);
        if (!arrangement.Held.IsEmpty)
        {
            ledger.Hold(arrangement.Held, Gathering.NextFree(sendings, now));
        }

        return arrangement.Gathered.IsEmpty ? arrangement.Alone : arrangement.Alone.Append(Gather(arrangement.Gathered, now)).OrderByDescending(entry => entry.IsCritical);
    }

    private OutboxEntry Gather(IReadOnlyList<OutboxEntry> members, DateTimeOffset now)
    {
        var key = $"gathered.{members[0].Key}";
        var mail = new GatheredMail(key, composer.MessageIdOf(key, installation ??= ledger.GetInstallation()), members[^1].Mail.To, Gathering.WhyOf(members));
        return ledger.Gather(mail, members, now);
    }

    private async Task<MailOutcome> TryTracedAsync(OutboxEntry entry, CancellationToken stop)
    {
        using var span = traces.StartMail(entry);
        var outcome = await TryAsync(entry, stop);
        MessageTraces.Settle(span, outcome);
        return outcome;
    }

    private async Task<MailOutcome> TryAsync(OutboxEntry entry, CancellationToken stop)
    {
        try
        {
            ledger.MarkTried(entry);
            using var message = entry.Mail is VisitMail visit
                ? composer.Visits.TryCompose(visit, ledger.ListMessageIds(visit.ThreadKeys), entry.CreatedAt, out var fault)
                : composer.TryCompose(MailReader.Read(entry, ledger, composer.Links), out fault);
            return message is null ? new MailOutcome.GiveUp(fault!) : await transport.SendAsync(entry.Key, message, stop);
        }
        catch (Exception fault) when (fault is not OperationCanceledException and not Microsoft.Data.Sqlite.SqliteException)
        {
            // Whatever one letter does to a library must not hold up the next one.
            LogUnexpected(fault, entry.Key);
            return new MailOutcome.TryLater($"unexpected: {MailWords.OneLine(fault.Message, 300)}", MayHoldForAll: false);
        }
    }

    private void Settle(OutboxEntry entry, MailOutcome outcome)
    {
        var now = time.GetUtcNow();
        if (outcome is MailOutcome.TryLater late && now - entry.CreatedAt >= GiveUpAfter)
        {
            outcome = TooLate(late.Reason);
        }

        switch (outcome)
        {
            case MailOutcome.Sent:
                ledger.MarkSent(entry, now);
                metrics.NotificationSent();
                LogSent(entry.Key, entry.Mail.MessageId);
                break;
            case MailOutcome.Closed:
                ledger.MarkUntried(entry);
                break;
            case MailOutcome.TryLater later:
                ledger.MarkFailed(entry, later.Reason, now + WaitAfter(entry.Attempts + 1));
                metrics.NotificationFailed("try-later");
                LogLater(entry.Key, entry.Attempts + 1, later.Reason);
                break;
            case MailOutcome.GiveUp over:
                ledger.MarkAbandoned(entry, over.Reason, now);
                metrics.NotificationFailed("given-up");
                LogGivenUp(entry.Key, over.Reason);
                break;
        }
    }

    /// <summary>Nothing leaves: letters stay due, are noted as kept by the outage, and are given up when they are too old.</summary>
    private void Close(string reason)
    {
        var now = time.GetUtcNow();
        way.Close(now + Doubled(way.FailedTries + 1, LongestClosed));
        ready.Set(Stage.Mail, reason);
        LogClosed(way.FailedTries, reason);
        ledger.MarkOutage(now);
        foreach (var entry in ledger.ListOverdue(now, now - GiveUpAfter))
        {
            Settle(entry, TooLate(reason));
        }
    }

    private static MailOutcome.GiveUp TooLate(string reason) => new($"given up after {GiveUpAfter.TotalDays:0} days: {reason}");

    private static TimeSpan Doubled(int failures, TimeSpan most) =>
        failures >= 8 ? most : TimeSpan.FromTicks(Math.Min(most.Ticks, FirstWait.Ticks << Math.Max(0, failures - 1)));

    private TimeSpan UntilNext()
    {
        var now = time.GetUtcNow();
        var next = (way.MayTry(now) ? ledger.FindNextAttempt() : way.TryAt) - now;
        return next is not { } wait || wait > LookAtLeastEvery ? LookAtLeastEvery : wait < TimeSpan.Zero ? TimeSpan.Zero : wait;
    }

    /// <remarks>The look at least every 30 s is of the wall, not of <see cref="TimeProvider"/>: it only guards against a clock that jumped.</remarks>
    private async Task WaitAsync(TimeSpan wait, CancellationToken stop)
    {
        try
        {
            await bell.WaitAsync(wait, stop);
        }
        catch (OperationCanceledException)
        {
            // The loop's condition ends it.
        }
    }

    [LoggerMessage(Level = LogLevel.Information, Message = "notification {Key} sent as {MessageId}")]
    private partial void LogSent(string key, string messageId);

    [LoggerMessage(Level = LogLevel.Warning, Message = "notification {Key} not sent at try {Attempt}: {Reason}")]
    private partial void LogLater(string key, int attempt, string reason);

    [LoggerMessage(Level = LogLevel.Warning, Message = "no mail can leave, found at try {Attempt}: {Reason}")]
    private partial void LogClosed(int attempt, string reason);

    [LoggerMessage(Level = LogLevel.Error, Message = "notification {Key} given up: {Reason}")]
    private partial void LogGivenUp(string key, string reason);

    [LoggerMessage(Level = LogLevel.Error, Message = "notification {Key} could not be composed or sent")]
    private partial void LogUnexpected(Exception fault, string key);

    [LoggerMessage(Level = LogLevel.Error, Message = "the outbox cannot be read")]
    private partial void LogStoreFailed(Exception fault);

    /// <summary>Whether mail can leave at all, as the last tries showed.</summary>
    private sealed class WayOut
    {
        private int troubles;

        public int FailedTries { get; private set; }

        public DateTimeOffset? TryAt { get; private set; }

        public bool IsClosed => TryAt is not null;

        /// <remarks>A time further off than any wait is of a clock that was set back since.</remarks>
        public bool MayTry(DateTimeOffset now) => TryAt is not { } at || at <= now || at - now > LongestClosed;

        public void Close(DateTimeOffset tryAt) => (TryAt, FailedTries, troubles) = (tryAt, FailedTries + 1, 0);

        public void Open() => (TryAt, FailedTries) = (null, 0);

        /// <returns>Why nothing leaves, if that is what an outcome shows together with those before it.</returns>
        public string? Saw(MailOutcome outcome)
        {
            if (outcome is MailOutcome.Sent)
            {
                Open();
            }

            troubles = outcome is MailOutcome.TryLater { MayHoldForAll: true } ? troubles + 1 : 0;
            return outcome switch
            {
                MailOutcome.Closed closed => closed.Reason,
                MailOutcome.TryLater later when troubles >= (IsClosed ? 1 : TroublesToClose) => later.Reason,
                _ => null,
            };
        }
    }
}
