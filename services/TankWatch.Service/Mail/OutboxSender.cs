using MimeKit;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Mail;

/// <summary>Wakes the sender when letters were put in the outbox.</summary>
public sealed class OutboxBell : IDisposable
{
    private readonly SemaphoreSlim rung = new(0, 1);

    public void Ring()
    {
        try
        {
            rung.Release();
        }
        catch (SemaphoreFullException)
        {
            // It rings already, and one look finds all letters.
        }
    }

    public void Dispose() => rung.Dispose();

    internal Task<bool> WaitAsync(TimeSpan longest, CancellationToken stop) => rung.WaitAsync(longest, stop);
}

/// <summary>
/// Sends what the outbox holds. A mail may be sent twice when the process dies between the server's answer and our note of it; it
/// then carries the same Message-ID. It is never lost.
/// </summary>
public sealed partial class OutboxSender(
    LedgerStore ledger, MailComposer composer, IMailTransport transport, OutboxBell bell, ReadyState ready, ServiceMetrics metrics, MessageTraces traces, TimeProvider time,
    ILogger<OutboxSender> logger) : BackgroundService
{
    private const int RoundSize = 50;
    private static readonly TimeSpan FirstWait = TimeSpan.FromSeconds(30);
    private static readonly TimeSpan LongestWait = TimeSpan.FromHours(1);
    private static readonly TimeSpan GiveUpAfter = TimeSpan.FromDays(4); // RFC 5321, 4.5.4.1 asks for 4 to 5 days.
    private static readonly TimeSpan LookAtLeastEvery = TimeSpan.FromSeconds(30);

    /// <summary>How long to wait after so many failed tries: 30 s, doubling, at most an hour.</summary>
    public static TimeSpan WaitAfter(int failures) =>
        failures >= 8 ? LongestWait : FirstWait * Math.Min(1 << Math.Max(0, failures - 1), LongestWait / FirstWait);

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
            catch (Exception fault) when (fault is Microsoft.Data.Sqlite.SqliteException or StoreException)
            {
                ready.Set(Stage.Mail, $"the outbox cannot be read: {Database.OneLine(fault)}");
                LogStoreFailed(fault);
            }

            await WaitAsync(wait, stoppingToken);
        }
    }

    /// <summary>Tries every letter that is due, once.</summary>
    internal async Task SendDueAsync(CancellationToken stop)
    {
        string? closed = null;
        foreach (var entry in ledger.ListDue(time.GetUtcNow(), RoundSize))
        {
            var outcome = closed is null ? await TryTracedAsync(entry, stop) : new MailOutcome.TryLater(closed, HoldsForAll: true);
            closed ??= outcome is MailOutcome.TryLater { HoldsForAll: true } all ? all.Reason : null;
            Settle(entry, outcome);
            ready.Set(Stage.Mail, closed);
        }
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
            using var message = TryCompose(entry, out var fault);
            return message is null ? new MailOutcome.GiveUp(fault!) : await transport.SendAsync(entry.Key, message, stop);
        }
        catch (Exception fault) when (fault is not OperationCanceledException and not Microsoft.Data.Sqlite.SqliteException)
        {
            // Whatever one letter does to a library must not hold up the next one.
            LogUnexpected(fault, entry.Key);
            return new MailOutcome.TryLater($"unexpected: {MailWords.OneLine(fault.Message, 300)}", HoldsForAll: false);
        }
    }

    private MimeMessage? TryCompose(OutboxEntry entry, out string? fault) => entry.Mail switch
    {
        VisitMail visit => composer.Visits.TryCompose(visit, ledger.ListMessageIds(visit.ThreadKeys), entry.CreatedAt, out fault),
        _ => composer.TryCompose(entry.Letter, ledger.ListMessageIds(entry.Letter.Notification.ThreadKeys), entry.CreatedAt, out fault),
    };

    private void Settle(OutboxEntry entry, MailOutcome outcome)
    {
        var now = time.GetUtcNow();
        if (outcome is MailOutcome.TryLater late && now - entry.CreatedAt >= GiveUpAfter)
        {
            outcome = new MailOutcome.GiveUp($"given up after {GiveUpAfter.TotalDays:0} days: {late.Reason}");
        }

        switch (outcome)
        {
            case MailOutcome.Sent:
                ledger.MarkSent(entry, now);
                metrics.NotificationSent();
                LogSent(entry.Key, entry.Mail.MessageId);
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

    private TimeSpan UntilNext()
    {
        var next = ledger.FindNextAttempt() - time.GetUtcNow();
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

    [LoggerMessage(Level = LogLevel.Error, Message = "notification {Key} given up: {Reason}")]
    private partial void LogGivenUp(string key, string reason);

    [LoggerMessage(Level = LogLevel.Error, Message = "notification {Key} could not be composed or sent")]
    private partial void LogUnexpected(Exception fault, string key);

    [LoggerMessage(Level = LogLevel.Error, Message = "the outbox cannot be read")]
    private partial void LogStoreFailed(Exception fault);
}
