using System.Collections.Immutable;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Building;

/// <summary>A pump in words.</summary>
/// <param name="Id">The pump's.</param>
/// <param name="State">Whether it runs, and since when.</param>
/// <param name="Why">What started or stopped it, and its mode.</param>
/// <param name="SpokeAt">When its unit last spoke.</param>
/// <param name="IsStale">The word is older than what its unit promised.</param>
/// <param name="Trips">What tripped it today.</param>
/// <param name="Limits">Ratings and limits, one sentence each; says what the site file leaves open.</param>
/// <param name="Runs">The newest first.</param>
public sealed record PumpView(
    string Id, ImmutableArray<Said> State, string? Why, DateTimeOffset? SpokeAt, bool IsStale, string Trips,
    IReadOnlyList<string> Limits, IReadOnlyList<RunView> Runs)
{
    private const int RunsShown = 8;

    internal static PumpView Of(SiteView site, Pump pump, int? dryTripsToday, SeriesStore series, DateTimeOffset now)
    {
        var (known, plan) = (site.State.Timeline.Pumps[pump.Index], site.Plan);
        var spoke = plan.Units.FirstOrDefault(unit => unit.Pumps.Contains(pump.Index)) is { } unit ? site.State.Timeline.Units[unit.Index].Last?.At : null;
        return new(
            pump.Id.Value, StateOf(known, plan.TimeZone), WhyOf(known), spoke,
            known.Running is not null && !(site.State.Timeline.PumpKnownUntil(plan, pump.Index) > now),
            TripsOf(known, dryTripsToday, now - LocalDays.StartOf(LocalDays.DateOf(now, plan.TimeZone), plan.TimeZone), now),
            [.. LimitsOf(pump)], [.. series.ListLastRuns(plan.Id, pump.Id, RunsShown).Select(RunView.Of)]);
    }

    private static string? WhyOf(PumpTimeline known)
    {
        if (known.Running is not { } running)
        {
            return null;
        }

        var how = running ? PumpWords.Started(known.Cause) : Words.Say(PumpWords.Stopped(known.Cause));
        return $"{how} {Words.Say(known.IsManual ? "building.pump.manual" : "building.pump.automatic")}";
    }

    private static ImmutableArray<Said> StateOf(PumpTimeline known, TimeZoneInfo zone) => known switch
    {
        { Running: { } running, Since: { } since } => Said.Of(running ? "building.pump.running" : "building.pump.resting", ("at", Said.Near(since, zone)), ("ago", Said.Ago(since))),
        _ => Said.Of("building.pump.unknown"),
    };

    private static string TripsOf(PumpTimeline known, int? dry, TimeSpan today, DateTimeOffset now)
    {
        if (known.Running is null || dry is not { } dryTrips)
        {
            return Words.Say("building.trips.unknown");
        }

        PhraseValue[] trips =
        [
            .. Trip("building.trips.dry", dryTrips), .. Trip("building.trips.voltage", known.VoltageTrips.CountWithin(today, now)),
            .. Trip("building.trips.overload", known.OverloadTrips.CountWithin(today, now)),
        ];
        return trips.Length == 0 ? Words.Say("building.trips.none") : Words.Say("building.trips", ("trips", PhraseList.Of(ListStyle.Comma, trips)));

        static PhraseValue[] Trip(string key, int count) => count == 0 ? [] : [Phrase.Of(key, ("n", count))];
    }

    private static IEnumerable<string> LimitsOf(Pump pump)
    {
        PhraseValue?[] ratings =
        [
            pump.RatedWatts is { } watts ? Phrase.Of("building.rating.watts", ("n", Math.Round(watts))) : null,
            pump.RatedDelivery is { } delivery ? Phrase.Of("building.rating.delivery", ("n", Math.Round(delivery.Value))) : null,
            pump.StaticLiftMetres is { } lift ? Phrase.Of("building.rating.lift", ("n", Math.Round(lift))) : null,
        ];
        yield return ratings.OfType<PhraseValue>().Any()
            ? Words.Say("building.rating", ("ratings", PhraseList.Of(ListStyle.Comma, ratings.OfType<PhraseValue>())))
            : Words.Say("building.rating.none");
        yield return Words.Say(pump.MaxStartsAssumed ? "building.starts.assumed" : "building.starts", ("n", Math.Round(pump.MaxStartsPerHour)));
        yield return Words.Say(pump.MinRunAssumed ? "building.min-run.assumed" : "building.min-run", ("span", Words.LastingOf(pump.MinRun)));
        if (pump.DryRunDetector)
        {
            yield return Words.Say("building.detector");
        }
    }
}

/// <summary>A run as the table shows it.</summary>
public sealed record RunView(DateTimeOffset StartedAt, string Lasted, string Stopped, string Litres)
{
    internal static RunView Of(PumpRun run) => new(
        run.StartedAt, run.Duration is { } lasted ? Amounts.Span(lasted.TotalSeconds) : Words.Say("building.run.running"),
        (run.StopCause, run.Manual) switch
        {
            ({ } cause, true) => Words.Say("building.run.by-hand", ("why", Phrase.Of(PumpWords.Ended(cause)))),
            ({ } cause, false) => Words.Say(PumpWords.Ended(cause)),
            (null, true) => Words.Say("building.run.only-by-hand"),
            _ => "",
        }, Amounts.Between(EstimateJson.Of(run.Delivered, 1)));
}

/// <summary>Why a pump started or stopped.</summary>
internal static class PumpWords
{
    public static string Started(PumpCause cause) => cause switch
    {
        PumpCause.Level => Words.Say("building.started.level"),
        PumpCause.TopUp => Words.Say("building.started.top-up"),
        PumpCause.Manual => Words.Say("building.started.manual"),
        PumpCause.Power => Words.Say("building.started.power"),
        PumpCause.Unknown => Words.Say("building.started.unknown"),
        _ => Words.Say("building.started.after", ("cause", Phrase.Of(Ended(cause)))),
    };

    /// <returns>The key of a text: a table's few words.</returns>
    public static string Ended(PumpCause cause) => cause switch
    {
        PumpCause.Level => "building.ended.level",
        PumpCause.TopUp => "building.ended.top-up",
        PumpCause.Manual => "building.ended.manual",
        PumpCause.SumpLow => "building.ended.sump-low",
        PumpCause.DryRun => "building.ended.dry-run",
        PumpCause.UnderVoltage => "building.ended.under-voltage",
        PumpCause.OverVoltage => "building.ended.over-voltage",
        PumpCause.Overload => "building.ended.overload",
        PumpCause.Power => "building.ended.power",
        _ => "building.ended.unknown",
    };

    /// <returns>The key of a text: a sentence.</returns>
    public static string Stopped(PumpCause cause) => cause switch
    {
        PumpCause.Level => "building.stopped.level",
        PumpCause.TopUp => "building.stopped.top-up",
        PumpCause.Manual => "building.stopped.manual",
        PumpCause.SumpLow => "building.stopped.sump-low",
        PumpCause.DryRun => "building.stopped.dry-run",
        PumpCause.UnderVoltage => "building.stopped.under-voltage",
        PumpCause.OverVoltage => "building.stopped.over-voltage",
        PumpCause.Overload => "building.stopped.overload",
        PumpCause.Power => "building.stopped.power",
        _ => "building.stopped.unknown",
    };
}
