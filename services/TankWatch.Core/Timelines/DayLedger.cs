using System.Collections.Immutable;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;

namespace TankWatch.Core.Timelines;

/// <summary>What one pump did so far in a local day.</summary>
/// <param name="Starts">Starts that happened in the day, manual ones and top-ups included.</param>
/// <param name="RunSeconds">Of finished stretches within the day.</param>
/// <param name="LongestSeconds">The longest stretch within the day.</param>
/// <param name="DryTrips">Stops for want of water.</param>
/// <param name="Delivered">Litres of the stretches whose delivery is known.</param>
/// <param name="DeliveredSeconds">How long those stretches lasted.</param>
/// <param name="WattSeconds">Energy of the stretches, measured or from the rating; null once a stretch had neither.</param>
public readonly record struct PumpTally(
    int Starts, double RunSeconds, double LongestSeconds, int DryTrips, Estimate Delivered, double DeliveredSeconds, double? WattSeconds)
{
    public static readonly PumpTally Zero = new(0, 0, 0, 0, default, 0, 0);

    public PumpTally WithStretch(double seconds, double? watts) => this with
    {
        RunSeconds = RunSeconds + seconds,
        LongestSeconds = Math.Max(LongestSeconds, seconds),
        WattSeconds = WattSeconds + (watts * seconds),
    };

    public PumpTally WithDelivery(double seconds, Estimate litresPerMinute) => this with
    {
        Delivered = Delivered + (litresPerMinute * (seconds / 60)),
        DeliveredSeconds = DeliveredSeconds + seconds,
    };
}

/// <summary>What one tank did so far in a local day.</summary>
/// <param name="AtStart">What it held as the day, or the record, began, litres; null when not known.</param>
/// <param name="EmptySeconds">Finished stretches below the lowest probe.</param>
/// <param name="Seen">Its probes were heard of in the day.</param>
public readonly record struct TankTally(Estimate? AtStart, double EmptySeconds, bool Seen);

/// <summary>The figures of one local day in progress, and of the day before while a run across midnight may still add to it.</summary>
/// <param name="Date">Local date.</param>
/// <param name="Start">First moment of the date, UTC.</param>
/// <param name="End">First moment of the next, UTC.</param>
/// <param name="SinceStart">The record reaches back to the day's first moment.</param>
/// <param name="Pumps">In the order of the plan.</param>
/// <param name="Tanks">In the order of the plan, sumps too.</param>
/// <param name="AtEnd">What each tank held as the day ended; empty while it lasts.</param>
/// <param name="Before">The day before, ended.</param>
public sealed record DayLedger(
    DateOnly Date, DateTimeOffset Start, DateTimeOffset End, bool SinceStart,
    ImmutableArray<PumpTally> Pumps, ImmutableArray<TankTally> Tanks, ImmutableArray<Estimate?> AtEnd, DayLedger? Before)
{
    /// <summary>The ledger of the day in which the record begins.</summary>
    public static DayLedger Begin(DateTimeOffset first, SitePlan plan)
    {
        var date = LocalDays.DateOf(first, plan.TimeZone);
        var start = LocalDays.StartOf(date, plan.TimeZone);
        return Empty(date, start, plan, sinceStart: first == start, before: null);
    }

    private static DayLedger Empty(DateOnly date, DateTimeOffset start, SitePlan plan, bool sinceStart, DayLedger? before) => new(
        date, start, LocalDays.NextChange(start, plan.TimeZone).At, sinceStart,
        [.. plan.Pumps.Select(_ => PumpTally.Zero)], [.. plan.Tanks.Select(_ => default(TankTally))], [], before);

    /// <summary>Counts what an observation of this day changed.</summary>
    /// <param name="was">The timeline before it.</param>
    /// <param name="now">The timeline after it.</param>
    /// <param name="observation">The observation.</param>
    /// <param name="ended">The run it ended, if any.</param>
    /// <param name="plan">What is installed.</param>
    /// <returns>The ledger after, and the day before if a run across midnight added to it.</returns>
    public (DayLedger Next, SiteDay? Corrected) Add(
        SiteTimeline was, SiteTimeline now, Observation observation, PumpRun? ended, SitePlan plan) => observation switch
        {
            PumpObservation pump when was.Pumps[pump.Pump].Running != pump.Running => AddPump(was, now, pump, ended, plan),
            LevelObservation level => (AddLevel(was, now, level, plan), null),
            _ => (this, null),
        };

    private (DayLedger Next, SiteDay? Corrected) AddPump(
        SiteTimeline was, SiteTimeline now, PumpObservation pump, PumpRun? ended, SitePlan plan)
    {
        var (state, tally) = (was.Pumps[pump.Pump], Pumps[pump.Pump]);
        if (pump.Running)
        {
            var started = state.Running == false ? 1 : 0;
            return (this with { Pumps = Pumps.SetItem(pump.Pump, tally with { Starts = tally.Starts + started }) }, null);
        }

        var tripped = now.Pumps[pump.Pump].DryTrips.Newest() == pump.Stamp.At ? 1 : 0;
        tally = tally with { DryTrips = tally.DryTrips + tripped };
        if (state.Running != true || ended is null)
        {
            return (this with { Pumps = Pumps.SetItem(pump.Pump, tally) }, null);
        }

        var seconds = Seconds(ended.StartedAt, pump.Stamp.At, Start, End);
        tally = tally.WithStretch(seconds, state.Run!.Watts ?? plan.Pumps[pump.Pump].RatedWatts);
        var before = Before;
        if (ended.Delivery is { } delivery)
        {
            tally = tally.WithDelivery(seconds, delivery);
            before = ended.StartedAt < Start ? Before?.WithDelivery(pump.Pump, ended, delivery) : Before;
        }

        var next = this with { Pumps = Pumps.SetItem(pump.Pump, tally), Before = before };
        return (next, ReferenceEquals(before, Before) ? null : before?.Figures(now, plan, complete: before.SinceStart));
    }

    private DayLedger WithDelivery(int pump, PumpRun run, Estimate delivery) => this with
    {
        Pumps = Pumps.SetItem(pump, Pumps[pump].WithDelivery(Seconds(run.StartedAt, End, Start, End), delivery)),
    };

    private DayLedger AddLevel(SiteTimeline was, SiteTimeline now, LevelObservation level, SitePlan plan)
    {
        var (before, tally) = (was.Tanks[level.Tank], Tanks[level.Tank]);
        var isFirst = before.SeenAt is null;
        if (tally.Seen && !isFirst && before.EmptySince is null)
        {
            return this;
        }

        var ends = before.EmptySince is not null && now.Tanks[level.Tank].EmptySince is null;
        return this with
        {
            Tanks = Tanks.SetItem(level.Tank, new(
                isFirst ? Volume(plan.Tanks[level.Tank], now.Tanks[level.Tank], now, plan, level.Stamp.At) : tally.AtStart,
                tally.EmptySeconds + (ends ? EmptySeconds(before, level.Stamp.At) : 0),
                Seen: true)),
        };
    }

    /// <summary>Ends the day: what still runs or is empty is split at its last moment.</summary>
    public (DayLedger Next, SiteDay Closed) Close(SiteTimeline timeline, SitePlan plan)
    {
        var ended = At(End, timeline, plan) with { Before = null };
        var next = Empty(LocalDays.DateOf(End, plan.TimeZone), End, plan, sinceStart: true, ended);
        next = next with { Tanks = [.. ended.AtEnd.Select(volume => new TankTally(volume, 0, Seen: false))] };
        return (next, ended.Figures(timeline, plan, complete: SinceStart));
    }

    /// <summary>The figures up to a moment of the day that is not its end.</summary>
    public SiteDay UpTo(DateTimeOffset at, SiteTimeline timeline, SitePlan plan) =>
        At(at, timeline, plan).Figures(timeline, plan, complete: false);

    private DayLedger At(DateTimeOffset at, SiteTimeline timeline, SitePlan plan) => this with
    {
        Pumps = [.. Pumps.Select((tally, i) => timeline.Pumps[i] is { Running: true, Run: { } run }
            ? tally.WithStretch(Seconds(run.StartedAt, at, Start, End), run.Watts ?? plan.Pumps[i].RatedWatts) : tally)],
        Tanks = [.. Tanks.Select((tally, i) => timeline.Tanks[i].EmptySince is not null
            ? tally with { EmptySeconds = tally.EmptySeconds + EmptySeconds(timeline.Tanks[i], at), Seen = true } : tally)],
        AtEnd = [.. plan.Tanks.Select((tank, i) => Volume(tank, timeline.Tanks[i], timeline, plan, at))],
    };

    /// <summary>Seconds below the lowest probe within this day, as far as the reading holds.</summary>
    private double EmptySeconds(TankTimeline tank, DateTimeOffset to)
    {
        var holds = tank.SeenAt!.Value + SiteTimeline.WordHolds;
        return Seconds(tank.EmptySince!.Value, to < holds ? to : holds, Start, End);
    }

    private static double Seconds(DateTimeOffset from, DateTimeOffset to, DateTimeOffset start, DateTimeOffset end) =>
        Math.Max(0, ((to < end ? to : end) - (from > start ? from : start)).TotalSeconds);

    /// <summary>What a tank holds: bounds from its probes, and the best value from the last crossing and the flows known.</summary>
    private static Estimate? Volume(Tank tank, TankTimeline water, SiteTimeline timeline, SitePlan plan, DateTimeOffset at)
    {
        if (water.Bounds(tank) is not { } bounds || water.SeenAt + SiteTimeline.WordHolds <= at)
        {
            return null;
        }

        var middle = (bounds.Low + bounds.High) / 2;
        if (water.Last is not { } last || water.Draw is not { } draw || plan.Pumps.Any(p => p.To.Contains(tank.Index) && timeline.Pumps[p.Index].Running != false))
        {
            return new(middle, bounds.Low, bounds.High);
        }

        var since = tank.Probes[last.Probe].Volume.Value - (draw * (at - last.At).TotalMinutes);
        return new(Math.Clamp(since, bounds.Low, bounds.High), bounds.Low, bounds.High);
    }

    private SiteDay Figures(SiteTimeline timeline, SitePlan plan, bool complete) => new(
        Date, complete,
        [.. Pumps.Select((tally, i) => Figures(plan.Pumps[i], tally))],
        [.. plan.Tanks.Where(t => t.Role == TankRole.Overhead).Select(t => Figures(t, plan))]);

    private static PumpDay Figures(Pump pump, PumpTally tally)
    {
        const double RatingError = 0.1; // A nameplate against what a pump draws at its own duty: common practice, no source.
        Estimate? rate = tally.DeliveredSeconds > 0 ? tally.Delivered * (60 / tally.DeliveredSeconds) : null;
        var energy = tally.WattSeconds / 3.6e6;
        return new(
            pump.Id, tally.Starts, tally.RunSeconds, tally.LongestSeconds, tally.DryTrips, Delivered(tally, rate), rate,
            energy is { } kwh ? new Estimate(kwh, kwh * (1 - RatingError), kwh * (1 + RatingError)) : null);
    }

    /// <summary>Runs that no crossing measured are taken at the day's mean.</summary>
    private static Estimate? Delivered(PumpTally tally, Estimate? rate) =>
        tally.RunSeconds == 0 ? new Estimate(0, 0, 0) : rate * (tally.RunSeconds / 60);

    private TankDay Figures(Tank tank, SitePlan plan)
    {
        var tally = Tanks[tank.Index];
        return new(tank.Id, Used(tank, plan), LeakLitresPerHour: null, tally.Seen ? tally.EmptySeconds : null);
    }

    /// <summary>What came in, less what the tank gained. Null where a pump shares its delivery among several tanks.</summary>
    private Estimate? Used(Tank tank, SitePlan plan)
    {
        var delivered = new Estimate(0, 0, 0);
        foreach (var pump in plan.Pumps.Where(p => p.To.Contains(tank.Index)))
        {
            if (pump.To.Length > 1 || Figures(pump, Pumps[pump.Index]).DeliveredLitres is not { } litres)
            {
                return null;
            }

            delivered += litres;
        }

        if (Tanks[tank.Index].AtStart is not { } before || AtEnd[tank.Index] is not { } after)
        {
            return null;
        }

        return new(
            Math.Max(0, delivered.Value + before.Value - after.Value),
            Math.Max(0, delivered.Low + before.Low - after.High),
            Math.Max(0, delivered.High + before.High - after.Low));
    }
}
