using System.Numerics;
using Microsoft.AspNetCore.Http.HttpResults;
using TankWatch.Core.Commissioning;
using TankWatch.Core.Sites;
using TankWatch.Core.Supply;
using TankWatch.Core.Time;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Api.Csv;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Api;

/// <summary>What is and was known of a site's water and pumps: <c>now</c>, <c>history</c>, <c>summary</c>; and what is to be expected of them: <c>predictions</c>.</summary>
internal static class FigureRoutes
{
    private static readonly TimeSpan UsualHistory = TimeSpan.FromDays(1);
    private static readonly TimeSpan LongestHistory = TimeSpan.FromDays(400);

    public static void MapFigures(this RouteGroupBuilder api)
    {
        var site = api.MapGroup("/sites/{site}").WithTags("Figures").ProducesProblem(StatusCodes.Status404NotFound);
        site.MapGet("/now", GetNow).WithName("getNow").WithSummary("What is known of a site now.");
        site.MapGet("/history", GetHistory).WithName("getHistory").WithSummary("Steps and runs of a time.")
            .WithDescription("Without 'from' and 'to' the last day; at most 400 days. 'limit' and 'after' page the steps. CSV has no pages and takes any length of time.")
            .WithCsv("Steps and runs of all of the time asked for, oldest first.");
        site.MapGet("/summary", GetSummary).WithName("getSummary").WithSummary("Figures of a day, week or month, and of the one before.")
            .WithDescription("'period' is day, week (ISO 8601) or month; 'date' is any local day in it, by default today.")
            .WithCsv("A row for each pump and tank, of the period and of the one before. What is unknown is empty.");
        site.MapGet("/predictions", GetPredictions).WithName("getPredictions").WithSummary("What an installation should do, from its site file alone.")
            .WithDescription("Told before any data: geometry, ratings and common practice. A prediction is no alert and changes none.");
    }

    private static Results<Ok<NowJson>, ProblemHttpResult> GetNow(string site, Caller caller, SiteDirectory directory) =>
        Find(site, caller, directory) is { } view ? TypedResults.Ok(NowOf(view)) : SiteRoutes.NoSite();

    private static Results<Ok<HistoryJson>, CsvResult, ProblemHttpResult> GetHistory(
        HttpContext context, string site, Caller caller, SiteDirectory directory, SeriesStore series, TimeProvider time, string? from, string? to, string? after, int? limit)
    {
        if (!Query.TryLimit(limit, out var count, out var problem)
            || !Query.TryTime("from", from, out var start, out problem)
            || !Query.TryTime("to", to, out var end, out problem))
        {
            return problem;
        }

        if (Find(site, caller, directory) is not { Plan: var plan })
        {
            return SiteRoutes.NoSite();
        }

        var until = end ?? time.GetUtcNow();
        var since = start ?? (until - DateTimeOffset.MinValue > UsualHistory ? until - UsualHistory : DateTimeOffset.MinValue);
        var isCsv = CsvAnswer.IsWanted(context);
        if (since >= until || (!isCsv && until - since > LongestHistory))
        {
            return Problems.BadRequest($"'from' must be before 'to'{(isCsv ? "" : $", by at most {LongestHistory.TotalDays} days")}.");
        }

        if (isCsv)
        {
            return after is null && limit is null
                ? HistoryCsv.Of(series, plan, since, until)
                : Problems.BadRequest("'after' and 'limit' are for JSON: CSV is all of the time asked for.");
        }

        var steps = Query.Page(series.ListSteps(plan, since, until, after, count + 1), count, step => step.Cursor);
        var runs = series.ListRuns(plan.Id, since, until);
        return TypedResults.Ok(new HistoryJson(
            site, since, until, [.. steps.Items.Select(s => new StepJson(s.At, s.Tank, StepOf(s.Wet), s.Wet))],
            [.. runs.Reverse().Select(RunJson.Of)], steps.Next));
    }

    private static Results<Ok<SummaryJson>, CsvResult, ProblemHttpResult> GetSummary(
        HttpContext context, string site, Caller caller, SiteDirectory directory, SummaryReader summaries, TimeProvider time, string? period, string? date)
    {
        if (Period.Find(period ?? "day") is not { } kind)
        {
            return Problems.BadRequest("'period' is day, week or month.");
        }

        DateOnly? asked = DateOnly.TryParseExact(date, "yyyy-MM-dd", out var day) ? day : null;
        if ((date is not null && asked is null) || asked is { Year: < 2000 or > 9000 })
        {
            return Problems.BadRequest("'date' is a day such as 2026-03-01.");
        }

        if (Find(site, caller, directory) is not { } view)
        {
            return SiteRoutes.NoSite();
        }

        var summary = summaries.Read(view, kind, asked ?? LocalDays.DateOf(time.GetUtcNow(), view.Plan.TimeZone));
        return CsvAnswer.IsWanted(context) ? SummaryCsv.Of(summary) : TypedResults.Ok(summary);
    }

    private static Results<Ok<PredictionsJson>, ProblemHttpResult> GetPredictions(string site, Caller caller, SiteDirectory directory) =>
        Find(site, caller, directory) is { Plan: var plan } ? TypedResults.Ok(PredictionsJson.Of(plan.Id, Predictions.Of(plan))) : SiteRoutes.NoSite();

    /// <summary>Null too when the caller may not see it: another's site does not exist.</summary>
    public static SiteView? Find(string site, Caller caller, SiteDirectory directory) =>
        SiteRoutes.Visible(site, caller) ? directory.Find(new(site)) : null;

    private static NowJson NowOf(SiteView view) => new(
        view.Plan.Id.Value, view.AsOf,
        [.. view.Plan.Tanks.Select(tank => NowOf(view, tank))],
        [.. view.Plan.Pumps.Select(pump => NowOf(view, pump))],
        [.. view.Units.Select(UnitJson.Of)]);

    private static TankNowJson NowOf(SiteView view, Tank tank)
    {
        var known = view.State.Timeline.Tanks[tank.Index];
        var wet = known.Wet is null ? null : tank.Probes.Select((_, probe) => known.IsWet(probe)).ToList();
        return new(
            tank.Id.Value, tank.Role == TankRole.Sump ? "sump" : "overhead",
            wet is null ? null : StepOf(wet), wet,
            known.Bounds(tank) is var (low, high) ? new(low, high) : null,
            known.SeenAt is { } seen ? Math.Max(0, Math.Round((view.AsOf - seen).TotalSeconds, 3)) : null,
            Stale: !(view.State.Timeline.TankKnownUntil(view.Plan, tank.Index) > view.AsOf),
            // Null where a pump runs, and while too little of its use was learnt: a guess would be worse than none.
            TimeToEmpty: Lasting.Of(view.Plan, view.State, tank.Index, view.AsOf) is { } hours ? new(Seconds(hours.Low), Seconds(hours.High)) : null);

        static double Seconds(double hours) => Math.Round(hours * 3600);
    }

    private static PumpNowJson NowOf(SiteView view, Pump pump)
    {
        var known = view.State.Timeline.Pumps[pump.Index];
        var spoke = known.Running is not null;
        return new(
            pump.Id.Value, known.Running, known.Since, spoke ? known.IsManual ? "manual" : "auto" : null,
            spoke ? Core.Observations.PumpCauses.Of(known.Cause) : null,
            Stale: !(view.State.Timeline.PumpKnownUntil(view.Plan, pump.Index) > view.AsOf),
            known.LastRun is { } run ? RunJson.Of(run) : null);
    }

    /// <summary>How many probes are wet; null with a dry one below a wet one, where no count says how high the water stands.</summary>
    public static int? StepOf(IReadOnlyList<bool> wet)
    {
        var bits = wet.Select((isWet, probe) => isWet ? 1 << probe : 0).Sum();
        return (bits & (bits + 1)) == 0 ? BitOperations.PopCount((uint)bits) : null;
    }
}
