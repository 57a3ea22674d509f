using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Time;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>Runs and days of a site, by their keys, as JSON.</summary>
internal sealed record RollUps(SortedDictionary<(DateTimeOffset Started, string Pump), string> Runs, SortedDictionary<string, string> Days)
{
    public int Count => Runs.Count + Days.Count;

    public static RollUps Empty() => new([], new(StringComparer.Ordinal));

    public static RollUps Read(SqliteConnection connection, SiteId site)
    {
        var stored = Empty();
        foreach (var (started, pump, json) in connection.List(
            "SELECT started, pump, json FROM runs WHERE site = ?1", row => (row.Time(0), row.GetString(1), row.GetString(2)), site))
        {
            stored.Runs[(started, pump)] = json;
        }

        foreach (var (date, json) in connection.List("SELECT date, json FROM days WHERE site = ?1", row => (row.GetString(0), row.GetString(1)), site))
        {
            stored.Days[date] = json;
        }

        return stored;
    }
}

/// <summary>What judging a site's rows again makes of them.</summary>
/// <param name="Made">Runs and days.</param>
/// <param name="From">What began before this was made of rows that are no more, and cannot be made again; null when nothing could be judged.</param>
internal sealed record Rejudged(RollUps Made, DateTimeOffset? From);

/// <summary>Judges all rows of a site again, in order, some days at a time.</summary>
internal static class RollUp
{
    /// <param name="connection">The view of the store in which <paramref name="series"/> reads too.</param>
    /// <param name="series">Opened in the same view.</param>
    /// <param name="plan">The site.</param>
    /// <param name="stored">What is to be compared: where it begins before the oldest row, the oldest snapshot is gone on from.</param>
    /// <param name="without">Messages to be taken as not come yet.</param>
    public static Rejudged Judge(SqliteConnection connection, SeriesStore series, SitePlan plan, RollUps stored, HashSet<Observation> without)
    {
        var (state, from, snapshot) = (SiteState.Start(plan), (DateTimeOffset?)null, (SiteState?)null);
        var made = RollUps.Empty();
        foreach (var (seen, _) in series.ReadDays(plan, DateTimeOffset.MinValue).SelectMany(days => days))
        {
            if (from is null)
            {
                from = seen.Stamp.At;
                if (BeginsBefore(stored, seen.Stamp.At, plan))
                {
                    snapshot = OldestSnapshot(connection, series, plan);
                    if (snapshot is null)
                    {
                        return new(made, null);
                    }

                    (state, from) = (snapshot, snapshot.At);
                }
            }

            if (!without.Contains(seen) && snapshot?.IsNewer(seen) != false)
            {
                state = Step(state, new Observed(seen), plan, made);
            }
        }

        if (EndOfNewest(stored, plan) is { } end && end > state.At)
        {
            // Its end was told by the clock, which goes on without messages.
            Step(state, new Ticked(end), plan, made);
        }

        return new(made, from);
    }

    private static SiteState Step(SiteState state, SiteInput input, SitePlan plan, RollUps made)
    {
        var judged = SiteStep.Judge(state, input, plan);
        foreach (var run in judged.Runs)
        {
            made.Runs[(run.StartedAt, run.Pump.Value)] = StoredJson.Write(run);
        }

        foreach (var day in judged.Days)
        {
            made.Days[SeriesStore.Stored(day.Date)] = StoredJson.Write(day);
        }

        return judged.Next;
    }

    private static bool BeginsBefore(RollUps stored, DateTimeOffset first, SitePlan plan) =>
        stored.Runs.Keys.Any(run => run.Started < first)
        || stored.Days.Keys.Any(date => string.CompareOrdinal(date, SeriesStore.Stored(LocalDays.DateOf(first, plan.TimeZone))) < 0);

    private static SiteState? OldestSnapshot(SqliteConnection connection, SeriesStore series, SitePlan plan) =>
        connection.Scalar("SELECT min(at) FROM snapshots WHERE site = ?1", plan.Id) is long at
        && series.ReadSnapshot(plan.Id, new(at, TimeSpan.Zero)) is { } stored ? SiteStateCodec.Read(stored.State, plan) : null;

    private static DateTimeOffset? EndOfNewest(RollUps stored, SitePlan plan) =>
        stored.Days.Count > 0 && DateOnly.TryParseExact(stored.Days.Keys.Last(), "yyyy-MM-dd", out var date) && date < DateOnly.MaxValue.AddDays(-2)
            ? LocalDays.StartOf(date.AddDays(1), plan.TimeZone) : null;
}
