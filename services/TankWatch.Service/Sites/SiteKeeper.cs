using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Texts;
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
    AlertBell alertBell, ClockWatch clock, OperatorOptions operators, ReadyState ready, ServiceMetrics metrics, MessageTraces traces, TimeProvider time, ILogger<SiteKeeper> logger) : BackgroundService
{
    private const int BatchLimit = 1000;
    private const int FailuresNamed = 20;
    private static readonly TimeSpan TickEvery = TimeSpan.FromSeconds(1);

    private static readonly CommandOutcome NotNow = new CommandOutcome.Refused(Phrase.Of("refusal.not-now"));

    private readonly MessageJournal journal = new(inbox.Sparkplug, metrics, logger);
    private readonly Folding folding = new(series, options, time, inbox.Wake, logger);
    private readonly SiteRoster roster = new(ledger, series, metrics, time, logger);
    private readonly PatientStore store = new(ready, time, logger);
    private readonly SiteSaver saver = new(database, clock, composer, bell, alertBell, metrics, traces, logger);
    private readonly LateWork late = new(time);
    private readonly EstateKeeper estate = new(ledger, operators, ready);
    private readonly TaskCompletionSource read = new(TaskCreationOptions.RunContinuationsAsynchronously);
    private DateTimeOffset lastTick;

    /// <summary>Completes when all sites have been read and can be seen.</summary>
    public Task Read => read.Task;

    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        await Task.Yield();
        try
        {
            saver.Installation = await store.UntilAsync(() => { database.TakeOver(); return ledger.GetInstallation(); }, stoppingToken);
            await store.UntilAsync(() => { series.Open(); estate.Load(time.GetUtcNow()); return true; }, stoppingToken);
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
            var isTick = (now - lastTick).Duration() >= TickEvery; // Also when the clock was set back.
            var writes = new List<SiteWrites>();
            if ((refresh || isTick) && await store.UntilAsync(database.IsReplaced, stop))
            {
                await TakeOverAsync(now, stop);
                refresh = true;
            }

            var gone = refresh || isTick ? await RefreshAsync(writes, now, stop) : [];
            var clockMoved = isTick ? await MoveClockAsync(writes, now, stop) : TimeSpan.Zero;
            var fresh = await JournalAsync([.. batch.OfType<Work.Message>()], stop);
            pending = [.. batch.Where(work => work is not Work.Message)];
            Judge(fresh, writes, now);
            if (isTick)
            {
                lastTick = now;
                writes.AddRange(await TryEstateAsync(() => estate.Tick(roster.Sites, now, inbox.ListeningSince, clockMoved), now, stop) ?? []);
                Tick(writes, now, batch.Count < BatchLimit ? now : Frontier(fresh) ?? now);
            }

            if (!late.Judge(roster, writes, now))
            {
                inbox.Wake(); // The rest of it soon.
            }

            var outcomes = await ObeyAsync(batch.OfType<Work.Command>(), writes, now, stop);
            var marked = Mark(writes, now, stop);
            var saved = await saver.SaveAsync(writes, clockMoved, store, now, stop);
            if (saved)
            {
                folding.Marked(marked);
            }
            else
            {
                // The store is right, and judging again from it loses nothing.
                roster.BuildAllAnew();
                await store.UntilAsync(() => { estate.Load(now); return true; }, stop);
                folding.GiveUp(now);
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

    /// <summary>When the wall clock was set, what waits in every site moves with it.</summary>
    private async Task<TimeSpan> MoveClockAsync(List<SiteWrites> writes, DateTimeOffset now, CancellationToken stop)
    {
        var by = await store.UntilAsync(() => clock.Moved(now), stop);
        if (by != TimeSpan.Zero)
        {
            LogClockMoved(by);
            foreach (var site in roster.Sites.ToList())
            {
                if (roster.Try(site.Plan.Id, () => site.ClockMoved(by, now)) is { } moved)
                {
                    writes.Add(moved);
                }
            }
        }

        return by;
    }

    /// <summary>Whatever is in memory is of the store before.</summary>
    private async Task TakeOverAsync(DateTimeOffset now, CancellationToken stop)
    {
        await folding.EndAsync(); // It must not go on with what it has begun.
        await store.UntilAsync(() => { database.TakeOver(); series.Open(); estate.Load(now); return true; }, stop);
        saver.Installation = await store.UntilAsync(ledger.GetInstallation, stop);
        roster.BuildAllAnew();
        folding.GiveUp(now);
        LogTakenOver();
    }

    private void Publish(bool isTick, IReadOnlyCollection<SiteId> heard, List<SiteWrites> writes, IReadOnlyList<SiteId> gone, DateTimeOffset now)
    {
        directory.Estate = estate.Open;
        HashSet<SiteId> touched = [.. heard, .. writes.Select(made => made.Plan.Id)];
        var sites = isTick ? roster.Sites : touched.Select(roster.Find).OfType<KeptSite>();
        directory.Publish(sites.Select(site => site.View(now)), gone);
        directory.Tell([.. heard, .. writes.Where(made => !made.IsEmpty).Select(made => made.Plan.Id), .. gone]); // Not of a tick that changed nothing.
    }

    private async Task<IReadOnlyList<SiteId>> RefreshAsync(List<SiteWrites> writes, DateTimeOffset now, CancellationToken stop)
    {
        var (built, gone) = await store.UntilAsync(() => roster.Refresh(now), stop);
        writes.AddRange(built);
        built.ToList().ForEach(made => late.Note(roster, made));
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
        var staged = await store.UntilAsync(() => series.Stage(batch.Accepted), stop);
        var started = time.GetTimestamp();
        await store.UntilAsync(() => { series.Commit(staged, batch.Refused); return true; }, stop);
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
            if (roster.Find(id) is { } site && roster.Try(id, () => site.Take(seen, now, inbox.ListeningSince)) is { } taken)
            {
                writes.Add(taken);
                late.Note(roster, taken);
            }
        }
    }

    /// <returns>
    /// How far the messages have come while more of them wait than one step takes: the sites' time must not pass what is still to come, or
    /// all of it would be late, cost far more than in order, and the backlog never end. The middle one, since some clocks are wrong.
    /// </returns>
    private static DateTimeOffset? Frontier(Dictionary<SiteId, List<Fresh>> fresh)
    {
        List<DateTimeOffset> times = [.. fresh.Values.SelectMany(seen => seen).Select(seen => seen.Seen.Stamp.At).Order()];
        return times.Count > 0 ? times[times.Count / 2] : null;
    }

    private void Tick(List<SiteWrites> writes, DateTimeOffset now, DateTimeOffset frontier)
    {
        var listening = inbox.ListeningSince;
        foreach (var site in roster.Sites.ToList())
        {
            if (roster.Try(site.Plan.Id, () => site.Tick(now, frontier, listening)) is { } ticked)
            {
                writes.Add(ticked);
                late.Note(roster, ticked);
            }
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
            var stored = await store.UntilAsync(() => ledger.FindAlert(command.Asked.AlertId), stop);
            outcomes.Add((command, stored is null ? new CommandOutcome.NotFound() : await ObeyAsync(command.Asked, stored, writes, now, stop)));
        }

        return outcomes;
    }

    private async Task<CommandOutcome> ObeyAsync(AlertCommand command, Alert stored, List<SiteWrites> writes, DateTimeOffset now, CancellationToken stop)
    {
        var obeyed = stored.Site.IsNone ? await TryEstateAsync(() => estate.Obey(command, stored, roster.Sites, now), now, stop)
            : roster.Find(stored.Site) is { } site ? roster.Try(stored.Site, () => site.Obey(command, stored, now)) : null;
        if (obeyed is null)
        {
            return NotNow;
        }

        writes.Add(obeyed.Writes);
        return obeyed.Outcome;
    }

    /// <summary>As <see cref="SiteRoster.Try"/>: a fault in what is of no one site costs no site anything.</summary>
    private async Task<T?> TryEstateAsync<T>(Func<T> step, DateTimeOffset now, CancellationToken stop) where T : class
    {
        try
        {
            return step();
        }
        catch (Exception fault)
        {
            metrics.JudgementFault();
            LogEstateFault(fault);
            await store.UntilAsync(() => { estate.Load(now); return true; }, stop);
            return null;
        }
    }

    private UnitWatch? WatchOf(UnitId unit) =>
        roster.PlanOf(unit) is { } plan && roster.Find(plan.Id) is { } site && site.Plan.FindUnit(unit) is { } known ? site.Watch(known.Index) : null;

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

    [LoggerMessage(Level = LogLevel.Error, Message = "what is of no one site could not be judged; it is read anew from the store")]
    private partial void LogEstateFault(Exception fault);

    [LoggerMessage(Level = LogLevel.Warning, Message = "the wall clock was set by {By}; what waits goes on waiting for as long")]
    private partial void LogClockMoved(TimeSpan by);

    [LoggerMessage(Level = LogLevel.Information, Message = "keeping {Sites} sites")]
    private partial void LogKeeping(int sites);
}
