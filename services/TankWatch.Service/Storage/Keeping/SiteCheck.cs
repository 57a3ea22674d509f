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
            return;
        }

        // So may late ones, in parts, from the earliest of them on.
        var unsettled = Unsettled(plan);
        found.Faults.AddRange(differences.Where(difference => difference.Until < unsettled).Select(difference => difference.Text));
        if (differences.Exists(difference => difference.Until >= unsettled))
        {
            found.Notes.Add($"site {plan.Id}: runs and days from {Rfc3339.Format(unsettled)} on cannot be checked until the service has judged what came late");
        }
    }

    private HashSet<Observation> Newest(SitePlan plan) => [.. series.ReadJournal(plan, series.Position - 1).Select(read => read.Seen)];

    /// <summary>All that happened before this was judged when the site was last saved.</summary>
    private DateTimeOffset Unsettled(SitePlan plan) => series.ReadJournal(plan, series.ReadMark(plan.Id)?.Position ?? 0)
        .Select(read => read.Seen.Stamp.At).DefaultIfEmpty(DateTimeOffset.MaxValue).Min();

    private List<Difference> Differences(SitePlan plan, RollUps stored, HashSet<Observation> without)
    {
        var judged = RollUp.Judge(connection, series, plan, stored, without);
        var firstDate = judged.From is { } from ? SeriesStore.Stored(LocalDays.DateOf(from, plan.TimeZone)) : null;
        var differences = new List<Difference>();
        (found.Agreeing, found.Uncheckable) = (0, 0);
        Compare<(DateTimeOffset Started, string Pump), PumpRun>(
            stored.Runs, judged.Made.Runs, run => judged.From is null || run.Started < judged.From,
            (run, what, value) => differences.Add(new(
                $"site {plan.Id}: the run of {run.Pump} from {Rfc3339.Format(run.Started)} {what}", value is null ? run.Started : value.StoppedAt ?? DateTimeOffset.MaxValue)));
        Compare<string, SiteDay>(
            stored.Days, judged.Made.Days, date => firstDate is null || string.CompareOrdinal(date, firstDate) < 0,
            (date, what, value) => differences.Add(new($"site {plan.Id}: the day {date} {what}", SettledBy(value, plan))));
        return differences;
    }

    /// <summary>A run may add to a day after its end, when it stops on the next one.</summary>
    private static DateTimeOffset SettledBy(SiteDay? day, SitePlan plan) =>
        day is null || day.Date > DateOnly.MaxValue.AddDays(-3) ? DateTimeOffset.MinValue : LocalDays.StartOf(day.Date.AddDays(2), plan.TimeZone);

    private void Compare<TKey, TValue>(
        SortedDictionary<TKey, string> stored, SortedDictionary<TKey, string> made, Func<TKey, bool> isBefore, Action<TKey, string, TValue?> differs)
        where TKey : notnull
        where TValue : class
    {
        foreach (var (key, json) in stored)
        {
            if (TryRead<TValue>(json, out var asWritten) is not { } value)
            {
                differs(key, "cannot be read", null);
            }
            else if (isBefore(key))
            {
                found.Uncheckable++;
            }
            else if (!made.TryGetValue(key, out var right))
            {
                differs(key, "is stored, and not in the messages", value);
            }
            else if (asWritten != right)
            {
                differs(key, "is not what the messages say", value);
            }
            else
            {
                found.Agreeing++;
            }
        }

        foreach (var (key, json) in made.Where(right => !stored.ContainsKey(right.Key) && !isBefore(right.Key)))
        {
            differs(key, "is missing", StoredJson.Read<TValue>(json));
        }
    }

    /// <summary>Written anew, so that what an earlier version wrote with fewer members compares.</summary>
    private static T? TryRead<T>(string json, out string asWritten) where T : class
    {
        try
        {
            var value = StoredJson.Read<T>(json);
            asWritten = StoredJson.Write(value);
            return value;
        }
        catch (StoreException)
        {
            asWritten = "";
            return null;
        }
    }

    /// <param name="Text">In one line.</param>
    /// <param name="Until">What happened from here on has nothing to do with it.</param>
    private sealed record Difference(string Text, DateTimeOffset Until);
}
