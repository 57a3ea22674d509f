using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Snapshots;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Sites;

/// <summary>
/// The one owner of all sites. It empties the inbox in batches: journal and acknowledge, judge and tell, save, publish. Everything
/// that changes a site passes here, one after the other; everyone else reads <see cref="SiteDirectory"/>.
/// </summary>
public sealed partial class SiteKeeper(
    DataOptions options, Database database, LedgerStore ledger, SeriesStore series, SiteInbox inbox, SiteDirectory directory, MailComposer composer, OutboxBell bell,
    AlertBell alertBell, ReadyState ready, ServiceMetrics metrics, MessageTraces traces, TimeProvider time, ILogger<SiteKeeper> logger) : BackgroundService
{
    private const int BatchLimit = 1000;
    private const int FailuresNamed = 20;
    private static readonly TimeSpan TickEvery = TimeSpan.FromSeconds(1);
    private static readonly TimeSpan ReworkShare = TimeSpan.FromMilliseconds(10);
    private const int ReworkSteps = 500;
    private static readonly TimeSpan StoreRetry = TimeSpan.FromSeconds(1);

    private static readonly CommandOutcome NotNow = new CommandOutcome.Refused("the site is being built anew; try again in a minute");

    private readonly MessageJournal journal = new(inbox.Sparkplug, metrics, logger);
    private readonly Folding folding = new(series, options, inbox.Wake, logger);
    private readonly SiteRoster roster = new(ledger, series, metrics, time, logger);
    private readonly HashSet<SiteId> reworking = [];
    private readonly TaskCompletionSource read = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private string installation = "";
    private DateTimeOffset lastTick;

    /// <summary>Completes when all sites have been read and can be seen.</summary>
    public Task Read => read.Task;

    /// <summary>Completes when the message is durable.</summary>
    public Task ReceiveAsync(ReceivedMessage message, CancellationToken stop) => inbox.ReceiveAsync(message, stop);

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        await Task.Yield();
        try
        {
            installation = await UntilStoredAsync(() => { database.TakeOver(); return ledger.GetInstallation(); }, stoppingToken);
            await UntilStoredAsync(() => { series.Open(); return true; }, stoppingToken);
            await StepAsync([], refresh: true, stoppingToken);
            LogKeeping(roster.Sites.Count);
            GC.Collect(GC.MaxGeneration, GCCollectionMode.Aggressive); // Reading thousands of sites leaves as much behind as it keeps.
            read.TrySetResult();
            using var timer = time.CreateTimer(_ => inbox.Wake(), null, TickEvery, TickEvery);
            while (await inbox.Reader.WaitToReadAsync(stoppingToken))
            {
                var batch = TakeWaiting();
                await StepAsync(batch, batch.Exists(work => work is Work.Refresh), stoppingToken);
            }
        }
        catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
        {
            // Going down. What was not made durable was not acknowledged, and will come again.
        }
        finally
        {
            Abandon();
            read.TrySetCanceled(stoppingToken);
            await folding.EndAsync();
        }
    }

    private List<Work> TakeWaiting()
    {
        var batch = new List<Work>();
        while (batch.Count < BatchLimit && inbox.Reader.TryRead(out var work))
        {
            batch.Add(work);
        }

        return batch;
    }

    /// <summary>One step, done again when the store turned out to be replaced by a backup meanwhile.</summary>
    private async Task StepAsync(List<Work> batch, bool refresh, CancellationToken stop)
    {
        while (!await TryStepAsync(batch, refresh, stop))
        {
            refresh = true;
        }
    }

    /// <returns>False when nothing of it counts, because the store is another one since.</returns>
    private async Task<bool> TryStepAsync(List<Work> batch, bool refresh, CancellationToken stop)
    {
        var pending = batch;
        try
        {
            var now = time.GetUtcNow();
            var isTick = now - lastTick >= TickEvery;
            var writes = new List<SiteWrites>();
            if ((refresh || isTick) && await UntilStoredAsync(database.IsReplaced, stop))
            {
                await TakeOverAsync(now, stop);
                refresh = true;
            }

            var gone = refresh || isTick ? await RefreshAsync(writes, now, stop) : [];
            var fresh = await JournalAsync([.. batch.OfType<Work.Message>()], stop);
            pending = [.. batch.Where(work => work is not Work.Message)];
            Judge(fresh, writes, now);
            if (isTick)
            {
                lastTick = now;
                Tick(writes, now);
            }

            Rework(writes, now);
            var outcomes = await ObeyAsync(batch.OfType<Work.Command>(), writes, now, stop);
            var marked = Mark(writes, now, stop);
            var saved = await SaveAsync(writes, now, stop);
            if (saved)
            {
                folding.Marked(marked);
            }

            Publish(isTick, fresh.Keys, writes, gone, now);
            ready.Set(Stage.Sites, FailedSites());
            outcomes.ForEach(done => done.Command.Outcome.TrySetResult(saved ? done.Outcome : NotNow));
            batch.OfType<Work.Refresh>().ToList().ForEach(work => work.Done.TrySetResult());
            return true;
        }
        catch (StoreReplacedException)
        {
            for (var i = 0; i < batch.Count && pending != batch; i++)
            {
                // Told already, and not to be told twice: it only has to get into the store that is there now.
                batch[i] = batch[i] is Work.Message told ? told with { Receipt = new NobodyAsks() } : batch[i];
            }

            return false;
        }
        catch (OperationCanceledException)
        {
            pending.ForEach(Cancel);
            throw;
        }
    }

    /// <summary>Whatever is in memory is of the store before.</summary>
    private async Task TakeOverAsync(DateTimeOffset now, CancellationToken stop)
    {
        await folding.EndAsync(); // It must not go on with what it has begun.
        await UntilStoredAsync(() => { database.TakeOver(); series.Open(); return true; }, stop);
        installation = await UntilStoredAsync(ledger.GetInstallation, stop);
        roster.BuildAllAnew();
        folding.GiveUp(now);
        LogTakenOver();
    }

    private void Publish(bool isTick, IReadOnlyCollection<SiteId> heard, List<SiteWrites> writes, IReadOnlyList<SiteId> gone, DateTimeOffset now)
    {
        HashSet<SiteId> touched = [.. heard, .. writes.Select(made => made.Plan.Id)];
        var sites = isTick ? roster.Sites : touched.Select(roster.Find).OfType<KeptSite>();
        directory.Publish(sites.Select(site => site.View(now)), gone);
        directory.Tell([.. heard, .. writes.Where(made => !made.IsEmpty).Select(made => made.Plan.Id), .. gone]); // Not of a tick that changed nothing.
    }

    private async Task<IReadOnlyList<SiteId>> RefreshAsync(List<SiteWrites> writes, DateTimeOffset now, CancellationToken stop)
    {
        var (built, gone) = await UntilStoredAsync(() => roster.Refresh(now), stop);
        writes.AddRange(built);
        built.ToList().ForEach(NoteLate);
        inbox.Sparkplug.Follow(roster.Edges, now);
        traces.Forget(gone);
        return gone;
    }

    private string? FailedSites()
    {
        var failed = roster.Failed.ToList();
        return failed.Count == 0 ? null
            : $"{failed.Count} not judged at present, see the log: {string.Join(", ", failed.Take(FailuresNamed))}{(failed.Count > FailuresNamed ? " and more" : "")}";
    }

    /// <summary>Makes messages durable and lets their acknowledgements go, in order of receipt.</summary>
    /// <returns>What was new, by site, in order of receipt.</returns>
    private async Task<Dictionary<SiteId, List<Fresh>>> JournalAsync(List<Work.Message> messages, CancellationToken stop)
    {
        var bySite = new Dictionary<SiteId, List<Fresh>>();
        var batch = journal.Decode(messages.Select(message => message.Received), roster.PlanOf, time.GetUtcNow());
        var isNew = batch.IsEmpty ? [] : await CommitAsync(batch, stop);
        messages.ForEach(message => message.Receipt.Durable());
        for (var i = 0; i < isNew.Length; i++)
        {
            var (plan, accepted, retained) = batch.Accepted[i];
            if (isNew[i])
            {
                (bySite.TryGetValue(plan.Id, out var fresh) ? fresh : bySite[plan.Id] = []).Add(new(accepted.Seen, retained));
            }
            else
            {
                WatchOf(accepted.Seen.Stamp.Unit)?.CountDuplicate();
            }
        }

        batch.Refused.Where(refused => refused.Known).ToList().ForEach(refused => WatchOf(refused.Unit!.Value)?.CountRefused());
        return bySite;
    }

    /// <returns>For each accepted message, whether it was new.</returns>
    private async Task<bool[]> CommitAsync(MessageBatch batch, CancellationToken stop)
    {
        using var span = traces.StartCommit(batch);
        var staged = await UntilStoredAsync(() => series.Stage(batch.Accepted), stop);
        var started = time.GetTimestamp();
        await UntilStoredAsync(() => { series.Commit(staged, batch.Refused); return true; }, stop);
        traces.Committed(span, staged, batch.Accepted);
        metrics.Committed(time.GetElapsedTime(started));
        metrics.Accepted(staged.Rows.Count);
        metrics.Duplicate(batch.Accepted.Count - staged.Rows.Count);
        batch.Refused.ForEach(refused => metrics.Refused(refused.Reason));
        return staged.IsNew;
    }

    private void Judge(Dictionary<SiteId, List<Fresh>> fresh, List<SiteWrites> writes, DateTimeOffset now)
    {
        foreach (var (id, seen) in fresh)
        {
            // A site that is not there at present is built from the store, where these messages are already.
            if (roster.Find(id) is { } site && roster.Try(id, () => site.Take(seen, now)) is { } taken)
            {
                writes.Add(taken);
                NoteLate(taken);
            }
        }
    }

    /// <summary>Judges late messages of sites whose backlog is in, or has been coming for long, a short while at a time.</summary>
    private void Rework(List<SiteWrites> writes, DateTimeOffset now)
    {
        var started = time.GetTimestamp();
        foreach (var id in reworking.ToList())
        {
            if (roster.Find(id) is not { NeedsRework: true } site)
            {
                reworking.Remove(id);
                continue;
            }

            while (site.NeedsRework && site.IsReadyForRework(now) && time.GetElapsedTime(started) < ReworkShare)
            {
                if (roster.Try(id, () => site.Rework(ReworkSteps, now)) is { } done)
                {
                    writes.Add(done);
                }
                else if (roster.Find(id) != site)
                {
                    break; // It failed, and is built anew.
                }
            }

            if (time.GetElapsedTime(started) >= ReworkShare)
            {
                inbox.Wake();
                return;
            }
        }
    }

    private void Tick(List<SiteWrites> writes, DateTimeOffset now)
    {
        var listening = inbox.ListeningSince;
        foreach (var site in roster.Sites.ToList())
        {
            if (roster.Try(site.Plan.Id, () => site.Tick(now, listening)) is { } ticked)
            {
                writes.Add(ticked);
                NoteLate(ticked);
            }
        }
    }

    private void NoteLate(SiteWrites made)
    {
        if (roster.Find(made.Plan.Id) is { NeedsRework: true })
        {
            reworking.Add(made.Plan.Id);
        }
    }

    /// <summary>Has some sites saved whole, so that what they have judged may be folded.</summary>
    /// <returns>How many.</returns>
    private int Mark(List<SiteWrites> writes, DateTimeOffset now, CancellationToken stop)
    {
        var due = folding.Due(now, stop);
        foreach (var id in due)
        {
            if (roster.Find(id) is { } site && roster.Try(id, () => site.Save(now)) is { } saved)
            {
                writes.Add(saved);
            }
            else if (roster.PlanOf(id) is { } plan)
            {
                writes.Add(SiteWrites.Nothing(plan) with { Mark = SiteMark.Unjudged(series.Position), SnapshotsFrom = DateTimeOffset.MinValue });
            }
        }

        if (folding.IsHurrying)
        {
            inbox.Wake();
        }

        return due.Count;
    }

    private async Task<List<(Work.Command Command, CommandOutcome Outcome)>> ObeyAsync(
        IEnumerable<Work.Command> commands, List<SiteWrites> writes, DateTimeOffset now, CancellationToken stop)
    {
        var outcomes = new List<(Work.Command, CommandOutcome)>();
        foreach (var command in commands)
        {
            var stored = await UntilStoredAsync(() => ledger.FindAlert(command.Asked.AlertId), stop);
            outcomes.Add((command, stored is null ? new CommandOutcome.NotFound() : Obey(command.Asked, stored, writes, now)));
        }

        return outcomes;
    }

    private CommandOutcome Obey(AlertCommand command, Alert stored, List<SiteWrites> writes, DateTimeOffset now)
    {
        if (roster.Find(stored.Site) is not { } site || roster.Try(stored.Site, () => site.Obey(command, stored, now)) is not { } obeyed)
        {
            return NotNow;
        }

        writes.Add(obeyed.Writes);
        return obeyed.Outcome;
    }

    /// <summary>The second transaction: alerts, their events, the outbox, runs and days, all or nothing.</summary>
    /// <returns>False when nothing of it was kept and the sites are built anew.</returns>
    private async Task<bool> SaveAsync(List<SiteWrites> writes, DateTimeOffset now, CancellationToken stop)
    {
        var wanted = writes.FindAll(site => !site.IsEmpty);
        if (wanted.Count == 0)
        {
            return true;
        }

        using var spans = traces.StartEvents(wanted);
        try
        {
            await UntilStoredAsync(() => database.Write(connection => { wanted.ForEach(site => Save(connection, site, spans, now)); return true; }), stop);
        }
        catch (SqliteException fault) when (fault.SqliteErrorCode == SQLitePCL.raw.SQLITE_CONSTRAINT)
        {
            // Memory and store contradict each other; the store is right, and judging again from it loses nothing.
            LogContradiction(fault);
            spans?.Fail();
            roster.BuildAllAnew();
            folding.GiveUp(now);
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
        if (!LedgerStore.Has(connection, plan.Id))
        {
            return;
        }

        LedgerStore.Append(connection, writes.Alerts, writes.Events);
        LedgerStore.Post(connection, writes.Notices.Select(notice =>
            new OutboxLetter(notice, composer.MessageIdOf(notice.Key, installation), plan.Name, plan.TimeZone.Id)), now, alert => spans?.Last(alert)?.Id);
        SeriesStore.Replace(connection, plan.Id, writes.RunsAfter, writes.Runs, writes.Days);
        if (writes.SnapshotsFrom is not null || !writes.Snapshots.IsEmpty)
        {
            SeriesStore.Replace(
                connection, plan.Id, writes.SnapshotsFrom, writes.Snapshots, times => SnapshotSpacing.MayGo(times, times.Count > 0 ? times[^1] : default));
        }

        if (writes.Mark is { } mark)
        {
            SeriesStore.Save(connection, plan.Id, mark);
        }
    }

    private UnitWatch? WatchOf(UnitId unit) =>
        roster.PlanOf(unit) is { } plan && roster.Find(plan.Id) is { } site && site.Plan.FindUnit(unit) is { } known ? site.Watch(known.Index) : null;

    /// <summary>Runs <paramref name="work"/> until the store takes it. Meanwhile nothing is acknowledged and the service is not ready.</summary>
    private async Task<T> UntilStoredAsync<T>(Func<T> work, CancellationToken stop)
    {
        while (true)
        {
            stop.ThrowIfCancellationRequested();
            try
            {
                var result = work();
                ready.Set(Stage.Store, null);
                return result;
            }
            catch (Exception fault) when (
                (fault is SqliteException sqlite && sqlite.SqliteErrorCode != SQLitePCL.raw.SQLITE_CONSTRAINT) || fault is StoreException and not StoreReplacedException)
            {
                await ReportAsync(fault, stop);
            }
        }
    }

    private async Task ReportAsync(Exception fault, CancellationToken stop)
    {
        var reason = $"the store does not take or give data: {Database.OneLine(fault)}";
        ready.Set(Stage.Store, reason);
        LogStoreFault(reason);
        await Task.Delay(StoreRetry, time, stop);
    }

    private void Abandon()
    {
        inbox.Close();
        while (inbox.Reader.TryRead(out var work))
        {
            Cancel(work);
        }
    }

    private static void Cancel(Work work)
    {
        switch (work)
        {
            case Work.Message message:
                message.Receipt.Abandoned();
                break;
            case Work.Command command:
                command.Outcome.TrySetCanceled();
                break;
            case Work.Refresh refresh:
                refresh.Done.TrySetCanceled();
                break;
        }
    }

    private sealed class NobodyAsks : IReceipt
    {
        public void Durable()
        {
            // Told before.
        }

        public void Abandoned()
        {
            // Told before.
        }
    }

    [LoggerMessage(Level = LogLevel.Warning, Message = "the store was replaced by a backup: everything is built anew from it, and what came after it is gone")]
    private partial void LogTakenOver();

    [LoggerMessage(Level = LogLevel.Information, Message = "keeping {Sites} sites")]
    private partial void LogKeeping(int sites);

    [LoggerMessage(Level = LogLevel.Error, Message = "{Reason}; nothing is acknowledged until it does")]
    private partial void LogStoreFault(string reason);

    [LoggerMessage(Level = LogLevel.Error, Message = "memory and store contradict each other; all sites are built anew from the store")]
    private partial void LogContradiction(Exception fault);
}
