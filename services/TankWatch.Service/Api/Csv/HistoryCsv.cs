using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api.Csv;

/// <summary>Steps and runs of any length of time as one table, oldest first.</summary>
internal static class HistoryCsv
{
    private const int RunsAtOnce = 500;

    private static readonly string[] Columns =
    [
        "time (UTC)", "record", "device", "wet probes", "probes (lowest first; 1 is wet)", "stopped (UTC)", "start cause", "stop cause",
        "delivered (L)", "delivered low (L)", "delivered high (L)", "delivery (L/min)", "delivery low (L/min)", "delivery high (L/min)",
    ];

    /// <param name="series">Read while the table is written.</param>
    /// <param name="plan">The site.</param>
    /// <param name="from">At or after; runs that touch the time.</param>
    /// <param name="to">Before.</param>
    public static CsvResult Of(SeriesStore series, SitePlan plan, DateTimeOffset from, DateTimeOffset to) =>
        new($"{plan.Id}-history", Columns, Rows(series, plan, from, to));

    private static IEnumerable<IReadOnlyList<object?>> Rows(SeriesStore series, SitePlan plan, DateTimeOffset from, DateTimeOffset to)
    {
        using var runs = Runs(series, plan, from, to).GetEnumerator();
        var hasRun = runs.MoveNext();
        foreach (var level in Levels(series, plan, from, to))
        {
            for (; hasRun && runs.Current.StartedAt <= level.Stamp.At; hasRun = runs.MoveNext())
            {
                yield return RowOf(runs.Current);
            }

            yield return RowOf(level, plan.Tanks[level.Tank]);
        }

        for (; hasRun; hasRun = runs.MoveNext())
        {
            yield return RowOf(runs.Current);
        }
    }

    private static IEnumerable<LevelObservation> Levels(SeriesStore series, SitePlan plan, DateTimeOffset from, DateTimeOffset to) => series
        .ReadDays(plan, from).SelectMany(days => days).Select(read => read.Seen).TakeWhile(seen => seen.Stamp.At < to).OfType<LevelObservation>();

    private static IEnumerable<PumpRun> Runs(SeriesStore series, SitePlan plan, DateTimeOffset from, DateTimeOffset to)
    {
        for (var part = series.ListRunsAfter(plan.Id, null, from, to, RunsAtOnce); part.Count > 0;
            part = series.ListRunsAfter(plan.Id, part[^1], from, to, RunsAtOnce))
        {
            foreach (var run in part)
            {
                yield return run;
            }
        }
    }

    private static object?[] RowOf(LevelObservation level, Tank tank)
    {
        var wet = tank.Probes.Select((_, probe) => (level.Wet & (1 << probe)) != 0).ToList();
        return
        [
            level.Stamp.At, "step", tank.Id.Value, FigureRoutes.StepOf(wet), string.Join(' ', wet.Select(isWet => isWet ? '1' : '0')),
            null, null, null, null, null, null, null, null, null,
        ];
    }

    private static object?[] RowOf(PumpRun run)
    {
        var json = RunJson.Of(run);
        var (litres, rate) = (json.DeliveredLitres, json.LitresPerMinute);
        return
        [
            json.StartedAt, "run", json.Pump, null, null, json.StoppedAt, json.StartCause, json.StopCause,
            litres?.Value, litres?.Low, litres?.High, rate?.Value, rate?.Low, rate?.High,
        ];
    }
}
