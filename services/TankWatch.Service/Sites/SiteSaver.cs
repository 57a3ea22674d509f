using Microsoft.Data.Sqlite;
using TankWatch.Core.Snapshots;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>The second transaction of a step: alerts, their events, the outbox, runs, days, snapshots and marks, all or nothing.</summary>
internal sealed partial class SiteSaver(
    Database database, ClockWatch clock, MailComposer composer, OutboxBell bell, AlertBell alertBell, ServiceMetrics metrics, MessageTraces traces, ILogger logger)
{
    /// <summary>The store's own name, by which its mails are told from another installation's.</summary>
    public string Installation { get; set; } = "";

    /// <param name="writes">Of the step.</param>
    /// <param name="clockMoved">By how much the wall clock was set.</param>
    /// <param name="store">To wait for.</param>
    /// <param name="now">Wall clock, UTC.</param>
    /// <param name="stop">Ends the waiting.</param>
    /// <returns>False when nothing of it was kept: memory and store contradict each other.</returns>
    public async Task<bool> SaveAsync(List<SiteWrites> writes, TimeSpan clockMoved, PatientStore store, DateTimeOffset now, CancellationToken stop)
    {
        var wanted = writes.FindAll(site => !site.IsEmpty);
        var isClockNew = clockMoved != TimeSpan.Zero || clock.IsNew;
        if (wanted.Count == 0 && !isClockNew)
        {
            return true;
        }

        using var spans = traces.StartEvents(wanted);
        try
        {
            await store.UntilAsync(() => database.Write(connection =>
            {
                wanted.ForEach(site => Save(connection, site, spans, now));
                if (isClockNew)
                {
                    LedgerStore.MoveOutbox(connection, clockMoved);
                    clock.Save(connection, now);
                }

                return true;
            }), stop);
        }
        catch (SqliteException fault) when (fault.SqliteErrorCode == SQLitePCL.raw.SQLITE_CONSTRAINT)
        {
            LogContradiction(fault);
            spans?.Fail();
            clock.Forget();
            return false;
        }

        metrics.Happened(wanted.SelectMany(site => site.Events));
        if (wanted.Exists(site => !site.Events.IsEmpty))
        {
            alertBell.Ring();
        }

        if (wanted.Exists(site => !site.Notices.IsEmpty))
        {
            bell.Ring();
        }

        return true;
    }

    private void Save(SqliteConnection connection, SiteWrites writes, AlertSpans? spans, DateTimeOffset now)
    {
        // Another process may have deleted the site since.
        var plan = writes.Plan;
        if (!plan.Id.IsNone && !LedgerStore.Has(connection, plan.Id))
        {
            return;
        }

        LedgerStore.Append(connection, writes.Alerts, writes.Events);
        LedgerStore.Post(connection, writes.Notices.Select(notice =>
            new OutboxLetter(notice, composer.MessageIdOf(notice.Key, Installation), plan.Name, plan.TimeZone.Id)), now, alert => spans?.Last(alert)?.Id);
        SeriesStore.Replace(connection, plan.Id, writes.RunsAfter, writes.Runs, writes.Days);
        if (writes.SnapshotsFrom is not null || !writes.Snapshots.IsEmpty)
        {
            SeriesStore.Replace(
                connection, plan.Id, writes.SnapshotsFrom, writes.Snapshots, times => SnapshotSpacing.MayGo(times, times.Count > 0 ? times[^1] : default));
        }

        if (writes.Areas is { } areas)
        {
            LedgerStore.SaveAreas(connection, areas);
        }

        if (writes.Mark is { } mark)
        {
            SeriesStore.Save(connection, plan.Id, mark);
        }
    }

    [LoggerMessage(Level = LogLevel.Error, Message = "memory and store contradict each other; all sites are built anew from the store")]
    private partial void LogContradiction(Exception fault);
}
