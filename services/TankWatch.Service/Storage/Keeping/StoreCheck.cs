using Microsoft.Data.Sqlite;
using TankWatch.Core;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>What a check of a whole store came to.</summary>
/// <param name="Messages">Accepted ones.</param>
/// <param name="Sites">Site files.</param>
/// <param name="Alerts">Since ever.</param>
/// <param name="Agreeing">Runs and days that agree with the messages.</param>
/// <param name="Uncheckable">Runs and days of which the messages are no more.</param>
/// <param name="Faults">Told, one line each.</param>
internal sealed record StoreChecked(long Messages, long Sites, long Alerts, long Agreeing, long Uncheckable, long Faults);

/// <summary>
/// Checks everything that a store holds, beside a running service or without one. It reads in parts of seconds, each of one view of the
/// store, so that neither memory nor the write-ahead log grows with the store. What differs is looked at again, for a service that is at
/// work has always just stored what it is about to judge.
/// </summary>
/// <param name="database">The store.</param>
/// <param name="time">For the length of a part.</param>
/// <param name="pause">Waits before what differs is looked at again.</param>
/// <param name="say">Is told each line: a fault or a note.</param>
internal sealed class StoreCheck(Database database, TimeProvider time, Func<Task> pause, Action<string> say)
{
    private const int MostLooks = 5;
    private static readonly TimeSpan PartTime = TimeSpan.FromSeconds(5);

    private long faults;
    private long messages;

    /// <param name="progress">The done share, 0 to 1.</param>
    public async Task<StoreChecked> RunAsync(Action<double> progress)
    {
        Try("the file", () => database.Alone(connection => { FileCheck.AskSqlite(connection, Fault); return true; }));
        progress(0.1);
        await CheckUnitsAsync(share => progress(0.1 + (0.4 * share)));
        var sites = await CheckSitesAsync(share => progress(0.5 + (0.45 * share)));
        var alerts = 0L;
        Try("alerts", () => alerts = new LedgerCheck(database, Fault).Run());
        progress(1);
        return new(messages, sites.Count, alerts, sites.Sum(site => (long)site.Agreeing), sites.Sum(site => (long)site.Uncheckable), faults);
    }

    private async Task CheckUnitsAsync(Action<double> progress)
    {
        IReadOnlyList<UnitId> units = [];
        Try("messages", () => database.Read(connection =>
        {
            var check = new SeriesCheck(connection, Fault);
            check.CheckOwners();
            check.ReadJournal();
            units = check.Units();
            return true;
        }));
        var doubtful = new List<UnitId>();
        InParts(units, progress, connection => new UnitPart(connection), (part, unit) =>
        {
            var (found, rows) = part.Check(unit);
            messages += rows;
            doubtful.AddRange(found.Count > 0 ? [unit] : []);
        });
        await LookAgainAsync(doubtful, connection => new UnitPart(connection), (part, unit) => part.Check(unit).Found);
    }

    private async Task<IReadOnlyCollection<SiteChecked>> CheckSitesAsync(Action<double> progress)
    {
        var sites = new Dictionary<SiteId, SiteChecked>();
        IReadOnlyList<SiteId> all = [];
        Try("sites", () => all = database.Read(connection => connection.List("SELECT id FROM sites ORDER BY id", row => new SiteId(row.GetString(0)))));
        if (!Try("runs and days could not be judged again", () => Opened().Refresh()))
        {
            return sites.Values;
        }

        InParts(all, progress, connection => (connection, Series: Opened()), (part, site) => sites[site] = SiteCheck.Run(part.connection, part.Series, site));
        await LookAgainAsync(
            [.. sites.Values.Where(site => site.Faults.Count > 0).Select(site => site.Site)], connection => (connection, Series: Opened()),
            (part, site) => (sites[site] = SiteCheck.Run(part.connection, part.Series, site)).Faults);
        foreach (var note in sites.Values.SelectMany(site => site.Notes))
        {
            say($"note: {note}");
        }

        return sites.Values;
    }

    private SeriesStore Opened()
    {
        var series = new SeriesStore(database);
        series.Open();
        return series;
    }

    /// <summary>Looks at what differed until it does not, or until nobody writes who could still put it right; then it is a fault.</summary>
    private async Task LookAgainAsync<TItem, TPart>(
        List<TItem> doubtful, Func<SqliteConnection, TPart> begin, Func<TPart, TItem, IReadOnlyList<string>> look)
    {
        var found = new List<(TItem Item, IReadOnlyList<string> Faults)>();
        for (var (looks, isWritten) = (0, true); doubtful.Count > 0 && isWritten && looks < MostLooks; looks++)
        {
            isWritten = await PauseAsync();
            found.Clear();
            InParts(doubtful, _ => { }, begin, (part, item) =>
            {
                if (look(part, item) is { Count: > 0 } faults)
                {
                    found.Add((item, [.. faults]));
                }
            });
            doubtful = found.ConvertAll(item => item.Item);
        }

        found.SelectMany(item => item.Faults).ToList().ForEach(Fault);
    }

    /// <returns>Whether anybody wrote meanwhile.</returns>
    private async Task<bool> PauseAsync()
    {
        var before = Written();
        await pause();
        return Written() != before;

        object? Written() => database.Read(connection => connection.Scalar(
            """
            SELECT (SELECT coalesce(sum(seq), 0) FROM sqlite_sequence) || ' ' || (SELECT count(*) FROM days) || ' ' || (SELECT count(*) FROM runs)
                || ' ' || (SELECT coalesce(sum(position), 0) FROM site_marks) || ' ' || (SELECT count(*) FROM journal)
            """));
    }

    /// <summary>Goes through items, as many in one view of the store as a few seconds allow.</summary>
    private void InParts<TItem, TPart>(
        IReadOnlyList<TItem> items, Action<double> progress, Func<SqliteConnection, TPart> begin, Action<TPart, TItem> each)
    {
        for (var next = 0; next < items.Count;)
        {
            Try("messages", () => database.Read(connection =>
            {
                var (part, started) = (begin(connection), time.GetTimestamp());
                do
                {
                    // Whatever becomes of this one, the next part goes on with the next.
                    each(part, items[next++]);
                    progress(next / (double)items.Count);
                }
                while (next < items.Count && time.GetElapsedTime(started) < PartTime);
                return true;
            }));
        }
    }

    private bool Try(string what, Action check)
    {
        try
        {
            check();
            return true;
        }
        catch (Exception damage) when (damage is SqliteException or StoreException)
        {
            Fault($"{what}: {Database.OneLine(damage)}");
            return false;
        }
    }

    private void Fault(string line)
    {
        faults++;
        say($"fault: {line}");
    }

    /// <summary>Units of one view of the store.</summary>
    private sealed class UnitPart
    {
        private readonly SeriesCheck check;
        private readonly JournalRead journal;
        private readonly List<string> found = [];

        public UnitPart(SqliteConnection connection)
        {
            check = new(connection, found.Add);
            journal = check.ReadJournal();
        }

        public (IReadOnlyList<string> Found, long Messages) Check(UnitId unit)
        {
            found.Clear(); // What is wrong with the journal was told at the beginning.
            var rows = check.CheckUnit(unit, journal);
            return ([.. found], rows);
        }
    }
}
