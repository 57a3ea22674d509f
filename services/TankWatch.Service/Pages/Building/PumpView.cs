using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;
using TankWatch.Service.Api.Contract;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Building;

/// <summary>A pump in words.</summary>
/// <param name="Id">The pump's.</param>
/// <param name="State">"Running since" or "At rest since"; what is known when nothing is.</param>
/// <param name="Since">Since when; null when not known.</param>
/// <param name="Why">What started or stopped it, and its mode.</param>
/// <param name="SpokeAt">When its unit last spoke.</param>
/// <param name="IsStale">The word is older than what its unit promised.</param>
/// <param name="Trips">What tripped it today.</param>
/// <param name="Limits">Ratings and limits, one sentence each; says what the site file leaves open.</param>
/// <param name="Runs">The newest first.</param>
public sealed record PumpView(
    string Id, string State, DateTimeOffset? Since, string? Why, DateTimeOffset? SpokeAt, bool IsStale, string Trips,
    IReadOnlyList<string> Limits, IReadOnlyList<RunView> Runs)
{
    private const int RunsShown = 8;

    internal static PumpView Of(SiteView site, Pump pump, int? dryTripsToday, SeriesStore series, DateTimeOffset now)
    {
        var (known, plan) = (site.State.Timeline.Pumps[pump.Index], site.Plan);
        var spoke = plan.Units.FirstOrDefault(unit => unit.Pumps.Contains(pump.Index)) is { } unit ? site.State.Timeline.Units[unit.Index].Last?.At : null;
        return new(
            pump.Id.Value,
            known.Running switch { null => "Nothing is known of it yet.", true => "Running since", _ => "At rest since" },
            known.Running is null ? null : known.Since, WhyOf(known), spoke,
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

        var cause = running ? PumpWords.Started(known.Cause) : PumpWords.Stopped(known.Cause);
        return $"{(running ? "It was started" : "It was stopped")} {cause}. {(known.IsManual ? "It is in manual mode: its protection may be bypassed." : "It is in automatic mode.")}";
    }

    private static string TripsOf(PumpTimeline known, int? dry, TimeSpan today, DateTimeOffset now)
    {
        if (known.Running is null || dry is not { } dryTrips)
        {
            return "Whether it tripped today is not known.";
        }

        string[] trips =
        [
            .. Trip(dryTrips, "because no water came"), .. Trip(known.VoltageTrips.CountWithin(today, now), "for the voltage"),
            .. Trip(known.OverloadTrips.CountWithin(today, now), "for overload"),
        ];
        return trips.Length == 0 ? "No trips today." : $"Trips today: {string.Join(", ", trips)}.";

        static string[] Trip(int count, string why) => count == 0 ? [] : [$"{Amounts.Count(count)} {why}"];
    }

    private static IEnumerable<string> LimitsOf(Pump pump)
    {
        const string Assumed = " (assumed: the site file does not say)";
        string?[] ratings =
        [
            pump.RatedWatts is { } watts ? $"{Words.Number(watts)} W" : null,
            pump.RatedDelivery is { } delivery ? $"{Words.Number(delivery.Value)} litres a minute" : null,
            pump.StaticLiftMetres is { } lift ? $"a lift of {Words.Number(lift)} m" : null,
        ];
        yield return ratings.OfType<string>().Any()
            ? $"Rated for {string.Join(", ", ratings.OfType<string>())}."
            : "The site file gives no rating: energy is known only where its unit measures the power.";
        yield return $"At most {Words.Number(pump.MaxStartsPerHour)} starts an hour{(pump.MaxStartsAssumed ? Assumed : "")}.";
        yield return $"No run shorter than {Words.Lasting(pump.MinRun)}{(pump.MinRunAssumed ? Assumed : "")}.";
        if (pump.DryRunDetector)
        {
            yield return "A detector at the tank's inlet tells whether water comes.";
        }
    }
}

/// <summary>A run as the table shows it.</summary>
public sealed record RunView(DateTimeOffset StartedAt, string Lasted, string Stopped, string Litres)
{
    internal static RunView Of(PumpRun run) => new(
        run.StartedAt, run.Duration is { } lasted ? Amounts.Span(lasted.TotalSeconds) : "still running",
        (run.StopCause is { } cause ? PumpWords.Ended(cause) : "") + (run.Manual ? ", run by hand" : ""), Amounts.Between(EstimateJson.Of(run.Delivered, 1)));
}

/// <summary>Why a pump started or stopped.</summary>
internal static class PumpWords
{
    public static string Started(PumpCause cause) => cause switch
    {
        PumpCause.Level => "because a tank called for water",
        PumpCause.TopUp => "to top up",
        PumpCause.Manual => "by hand",
        PumpCause.Power => "as the power came back",
        PumpCause.Unknown => "for a reason that its unit did not give",
        _ => "after " + Stopped(cause),
    };

    /// <summary>In a table's few words.</summary>
    public static string Ended(PumpCause cause) => cause switch
    {
        PumpCause.Level => "tank full",
        PumpCause.TopUp => "topped up",
        PumpCause.Manual => "by hand",
        PumpCause.SumpLow => "sump empty",
        PumpCause.DryRun => "no water came",
        PumpCause.UnderVoltage => "low voltage",
        PumpCause.OverVoltage => "high voltage",
        PumpCause.Overload => "overload",
        PumpCause.Power => "power cut",
        _ => "not told",
    };

    public static string Stopped(PumpCause cause) => cause switch
    {
        PumpCause.Level => "because its tank was full",
        PumpCause.TopUp => "at the end of a top-up",
        PumpCause.Manual => "by hand",
        PumpCause.SumpLow => "for an empty sump",
        PumpCause.DryRun => "because no water came",
        PumpCause.UnderVoltage => "for low voltage",
        PumpCause.OverVoltage => "for high voltage",
        PumpCause.Overload => "for overload",
        PumpCause.Power => "by a power cut",
        _ => "for a reason that its unit did not give",
    };
}
