using System.Text;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>What the check of one site found.</summary>
/// <param name="Site">The site.</param>
internal sealed record SiteChecked(SiteId Site)
{
    /// <summary>One line each.</summary>
    public List<string> Faults { get; } = [];

    /// <summary>What is worth knowing and no fault, one line each.</summary>
    public List<string> Notes { get; } = [];

    /// <summary>Runs and days that agree with the rows.</summary>
    public int Agreeing { get; set; }

    /// <summary>Runs and days of which the rows are no more.</summary>
    public int Uncheckable { get; set; }
}

/// <summary>Checks one site within one view of the store: its file, its mark and snapshots, and its runs and days against its rows.</summary>
internal sealed class SiteCheck
{
    private readonly SqliteConnection connection;
    private readonly SeriesStore series;
    private readonly SiteChecked found;

    private SiteCheck(SqliteConnection connection, SeriesStore series, SiteId site) => (this.connection, this.series, found) = (connection, series, new(site));

    /// <param name="connection">Within <see cref="Database.Read{T}"/>.</param>
    /// <param name="series">Opened in the same view.</param>
    /// <param name="site">Its id.</param>
    public static SiteChecked Run(SqliteConnection connection, SeriesStore series, SiteId site)
    {
        var check = new SiteCheck(connection, series, site);
        check.Run();
        return check.found;
    }

    private void Run()
    {
        if (connection.Scalar("SELECT json FROM sites WHERE id = ?1", found.Site) is not string json)
        {
            return; // Deleted since.
        }

        if (SiteFile.Parse(Encoding.UTF8.GetBytes(json)).Plan is not { } plan)
        {
            found.Notes.Add($"site {found.Site}: this version of the program finds faults in its file, so it is not judged; 'site export' and 'site check' say which");
            return;
        }

        Try(() => CheckMark(plan));
        Try(() => CheckSnapshots(plan));
        Try(() => CheckRollUps(plan));
    }

    private void Try(Action check)
    {
        try
        {
            check();
        }
        catch (Exception damage) when (damage is StoreException or SqliteException)
        {
            found.Faults.Add($"site {found.Site}: {Database.OneLine(damage)}");
        }
    }

    private void CheckMark(SitePlan plan)
    {
        if (series.ReadMark(plan.Id) is not { } mark)
        {
            return;
        }

        if (mark.Position > series.Position)
        {
            found.Faults.Add($"site {plan.Id}: it is marked up to position {mark.Position} of the journal, which has come to {series.Position}");
        }

        if (mark.State is { } state && SiteStateCodec.Read(state, plan) is null)
        {
            found.Notes.Add($"site {plan.Id}: its saved state is of another site file or version, and will not be used");
        }
    }

    private void CheckSnapshots(SitePlan plan)
    {
        var foreign = 0;
        foreach (var at in connection.List("SELECT at FROM snapshots WHERE site = ?1 ORDER BY at", row => row.Time(0), plan.Id))
        {
            Try(() => foreign += SiteStateCodec.Read(series.ReadSnapshot(plan.Id, at)!.State, plan) is null ? 1 : 0);
        }

        if (foreign > 0)
        {
            found.Notes.Add($"site {plan.Id}: {foreign} snapshots are of another site file or version, and will not be used");
        }
    }

    private void CheckRollUps(SitePlan plan)
    {
        var stored = RollUps.Read(connection, plan.Id);
        var differences = Differences(plan, stored, []);

        // The last batch may be stored and not judged yet: when the service or the backup stopped between the two transactions.
        if (differences.Count > 0 && Newest(plan) is { Count: > 0 } newest && Differences(plan, stored, newest).Count == 0)
        {
            found.Notes.Add($"site {plan.Id}: the newest {newest.Count} messages are stored and not judged yet; the service does that when it starts");
            differences.Clear();
        }

        found.Faults.AddRange(differences);
    }

    private HashSet<Observation> Newest(SitePlan plan) => [.. series.ReadJournal(plan, series.Position - 1).Select(read => read.Seen)];

    private List<string> Differences(SitePlan plan, RollUps stored, HashSet<Observation> without)
    {
        var judged = RollUp.Judge(connection, series, plan, stored, without);
        var firstDate = judged.From is { } from ? SeriesStore.Stored(LocalDays.DateOf(from, plan.TimeZone)) : null;
        var differences = new List<string>();
        (found.Agreeing, found.Uncheckable) = (0, 0);
        Compare<(DateTimeOffset Started, string Pump), PumpRun>(
            stored.Runs, judged.Made.Runs, run => judged.From is null || run.Started < judged.From,
            run => $"site {plan.Id}: the run of {run.Pump} from {Rfc3339.Format(run.Started)}", differences);
        Compare<string, SiteDay>(
            stored.Days, judged.Made.Days, date => firstDate is null || string.CompareOrdinal(date, firstDate) < 0, date => $"site {plan.Id}: the day {date}", differences);
        return differences;
    }

    private void Compare<TKey, TValue>(
        SortedDictionary<TKey, string> stored, SortedDictionary<TKey, string> made, Func<TKey, bool> isBefore, Func<TKey, string> name, List<string> differences)
        where TKey : notnull
    {
        foreach (var (key, json) in stored)
        {
            if (!TryRead<TValue>(json, out var asWritten))
            {
                differences.Add($"{name(key)} cannot be read");
            }
            else if (isBefore(key))
            {
                found.Uncheckable++;
            }
            else if (!made.TryGetValue(key, out var right))
            {
                differences.Add($"{name(key)} is stored, and not in the messages");
            }
            else if (asWritten != right)
            {
                differences.Add($"{name(key)} is not what the messages say");
            }
            else
            {
                found.Agreeing++;
            }
        }

        differences.AddRange(made.Keys.Where(key => !stored.ContainsKey(key) && !isBefore(key)).Select(key => $"{name(key)} is missing"));
    }

    /// <summary>Written anew, so that what an earlier version wrote with fewer members compares.</summary>
    private static bool TryRead<T>(string json, out string asWritten)
    {
        try
        {
            asWritten = StoredJson.Write(StoredJson.Read<T>(json));
            return true;
        }
        catch (StoreException)
        {
            asWritten = "";
            return false;
        }
    }
}
