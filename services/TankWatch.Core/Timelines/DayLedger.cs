using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;

namespace TankWatch.Core.Timelines;

/// <summary>What one pump did so far in a local day.</summary>
/// <param name="Starts">Starts that happened in the day, manual ones and top-ups included.</param>
/// <param name="RunSeconds">Of finished stretches within the day.</param>
/// <param name="LongestSeconds">The longest stretch within the day.</param>
/// <param name="DryTrips">Stops for want of water.</param>
/// <param name="Delivered">Litres of the stretches whose delivery is known, with the doubt that runs share.</param>
/// <param name="OwnVariance">Of those litres, from run to run; litres squared.</param>
/// <param name="DeliveredSeconds">How long those stretches lasted.</param>
/// <param name="WattSeconds">Energy of the stretches, measured or from the rating; null once a stretch had neither.</param>
public readonly record struct PumpTally(
    int Starts, double RunSeconds, double LongestSeconds, int DryTrips, Estimate Delivered, double OwnVariance, double DeliveredSeconds, double? WattSeconds)
{
    public static readonly PumpTally Zero = new(0, 0, 0, 0, default, 0, 0, 0);

    public PumpTally WithStretch(double seconds, double? watts) => this with
    {
        RunSeconds = RunSeconds + seconds,
        LongestSeconds = Math.Max(LongestSeconds, seconds),
        WattSeconds = WattSeconds + (watts * seconds),
    };

    internal PumpTally WithDelivery(double seconds, in RunFlow flow) => this with
    {
        Delivered = Delivered + (flow.Common * (seconds / 60)),
        OwnVariance = OwnVariance + Math.Pow(flow.Own * seconds / 60, 2),
        DeliveredSeconds = DeliveredSeconds + seconds,
    };
}

/// <summary>What one tank did so far in a local day.</summary>
/// <param name="Used">Litres that left it in the stretches accounted for.</param>
/// <param name="Common">Spread of those which all stretches share, litres.</param>
/// <param name="Variance">Of those besides, litres squared.</param>
/// <param name="UsualUse">Litres usual for the hours of those stretches; null when some of them lie before anything was usual.</param>
/// <param name="KnownHours">Their hours.</param>
/// <param name="EmptySeconds">Finished stretches below the lowest probe.</param>
/// <param name="Seen">Its probes were heard of in the day.</param>
/// <param name="UnheardSeconds">Finished stretches in which no reading of its probes held.</param>
public readonly record struct TankTally(
    double Used, double Common, double Variance, double? UsualUse, double KnownHours, double EmptySeconds, bool Seen, double UnheardSeconds);

/// <summary>The figures of one local day in progress, and of the day before while a run across midnight may still add to it.</summary>
/// <param name="Date">Local date.</param>
/// <param name="Start">First moment of the date, UTC.</param>
/// <param name="End">First moment of the next, UTC.</param>
/// <param name="SinceStart">The record reaches back to the day's first moment.</param>
/// <param name="Pumps">In the order of the plan.</param>
/// <param name="Tanks">In the order of the plan, sumps too.</param>
/// <param name="Before">The day before, ended.</param>
public sealed record DayLedger(
    DateOnly Date, DateTimeOffset Start, DateTimeOffset End, bool SinceStart,
    ImmutableArray<PumpTally> Pumps, ImmutableArray<TankTally> Tanks, DayLedger? Before)
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
        [.. plan.Pumps.Select(_ => PumpTally.Zero)], [.. plan.Tanks.Select(_ => default(TankTally))], before);

    /// <summary>Counts what an observation of this day changed.</summary>
    /// <param name="was">The timeline before it.</param>
    /// <param name="now">The timeline after it.</param>
    /// <param name="observation">The observation.</param>
    /// <param name="ended">The run it ended, if any.</param>
    /// <param name="accounted">The stretches of water it accounts for.</param>
    /// <param name="plan">What is installed.</param>
    /// <returns>The ledger after, and the day before if a run or a stretch across midnight added to it.</returns>
    internal (DayLedger Next, SiteDay? Corrected) Add(
        SiteTimeline was, SiteTimeline now, Observation observation, PumpRun? ended, ImmutableArray<Accounted> accounted, SitePlan plan) => observation switch
        {
            PumpObservation pump when was.Pumps[pump.Pump].Running != pump.Running => AddPump(was, now, pump, ended, plan),
            LevelObservation level => AddLevel(was, now, level, plan).Account(accounted, now, plan),
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
        if (ended.Flow is { } flow)
        {
            tally = tally.WithDelivery(seconds, flow);
            before = ended.StartedAt < Start ? Before?.WithDelivery(pump.Pump, ended, flow) : Before;
        }

        var next = this with { Pumps = Pumps.SetItem(pump.Pump, tally), Before = before };
        return (next, ReferenceEquals(before, Before) ? null : before?.Figures(now, plan, End, complete: before.SinceStart));
    }

    private DayLedger WithDelivery(int pump, PumpRun run, in RunFlow flow) => this with
    {
        Pumps = Pumps.SetItem(pump, Pumps[pump].WithDelivery(Seconds(run.StartedAt, End, Start, End), flow)),
    };

    private DayLedger AddLevel(SiteTimeline was, SiteTimeline now, LevelObservation level, SitePlan plan)
    {
        var (before, tally) = (was.Tanks[level.Tank], Tanks[level.Tank]);
        var unheard = UnheardSeconds(before, level.Stamp.At);
        if (tally.Seen && before.EmptySince is null && unheard == 0)
        {
            return this;
        }

        var ends = before.EmptySince is not null && now.Tanks[level.Tank].EmptySince is null;
        return this with
        {
            Tanks = Tanks.SetItem(level.Tank, tally with
            {
                EmptySeconds = tally.EmptySeconds + (ends ? EmptySeconds(before, level.Stamp.At) : 0), Seen = true,
                UnheardSeconds = tally.UnheardSeconds + unheard,
            }),
        };
    }

    private (DayLedger Next, SiteDay? Corrected) Account(ImmutableArray<Accounted> accounted, SiteTimeline now, SitePlan plan)
    {
        var (next, before) = (this, Before);
        foreach (var stretch in accounted)
        {
            next = next.With(stretch, now, plan);
            before = stretch.Passage.Start < Start ? before?.With(stretch, now, plan) : before;
        }

        next = ReferenceEquals(before, Before) ? next : next with { Before = before };
        return (next, ReferenceEquals(before, Before) ? null : before?.Figures(now, plan, End, before.SinceStart));
    }

    /// <summary>The share of a stretch that lies in this day: as people usually draw.</summary>
    private DayLedger With(in Accounted stretch, SiteTimeline now, SitePlan plan)
    {
        var (from, to) = (stretch.Passage.Start > Start ? stretch.Passage.Start : Start, stretch.Passage.End < End ? stretch.Passage.End : End);
        var hours = (to - from).TotalHours;
        if (hours <= 0)
        {
            return this;
        }

        var (share, usual) = (hours / stretch.Passage.Hours, (double?)null);
        if (now.Tanks[stretch.Tank].Balance is { Filter: not null } balance)
        {
            var all = share == 1 ? 0 : BalanceAccount.Leaving(balance, plan.TimeZone, stretch.Passage.Start, stretch.Passage.End).Litres;
            (share, usual) = (all > 0 ? BalanceAccount.Leaving(balance, plan.TimeZone, from, to).Litres / all : share, BalanceAccount.Use(balance.Filter, plan.TimeZone, from, to));
        }

        // How much of it fell before midnight is a draw of lots among its draws, and of how that night's pattern differs from the usual.
        const double PatternSpread = 0.2;
        var apart = share * (1 - share) * stretch.Used;
        var split = (apart * BalanceModel.DrawLitres) + Math.Pow(PatternSpread * apart, 2);
        var tally = Tanks[stretch.Tank];
        return this with
        {
            Tanks = Tanks.SetItem(stretch.Tank, tally with
            {
                Used = tally.Used + (share * stretch.Used),
                Common = tally.Common + (share * stretch.Common),
                Variance = tally.Variance + (share * share * stretch.Variance) + split,
                UsualUse = tally.KnownHours == 0 ? usual : tally.UsualUse + usual,
                KnownHours = tally.KnownHours + hours,
            }),
        };
    }

    /// <summary>Ends the day: what still runs or is empty is split at its last moment.</summary>
    public (DayLedger Next, SiteDay Closed) Close(SiteTimeline timeline, SitePlan plan)
    {
        var ended = At(End, timeline, plan) with { Before = null };
        var next = Empty(LocalDays.DateOf(End, plan.TimeZone), End, plan, sinceStart: true, ended);
        return (next, ended.Figures(timeline, plan, End, complete: SinceStart));
    }

    /// <summary>The figures up to a moment of the day that is not its end.</summary>
    public SiteDay UpTo(DateTimeOffset at, SiteTimeline timeline, SitePlan plan) =>
        At(at, timeline, plan).Figures(timeline, plan, at, complete: false);

    private DayLedger At(DateTimeOffset at, SiteTimeline timeline, SitePlan plan) => this with
    {
        Pumps = [.. Pumps.Select((tally, i) => timeline.Pumps[i] is { Running: true, Run: { } run }
            ? tally.WithStretch(Seconds(run.StartedAt, at, Start, End), run.Watts ?? plan.Pumps[i].RatedWatts) : tally)],
        Tanks = [.. Tanks.Select((tally, i) => At(at, tally, timeline.Tanks[i]))],
    };

    private TankTally At(DateTimeOffset at, in TankTally tally, TankTimeline tank)
    {
        var heard = tally with { UnheardSeconds = tally.UnheardSeconds + UnheardSeconds(tank, at) };
        return tank.EmptySince is null ? heard : heard with { EmptySeconds = tally.EmptySeconds + EmptySeconds(tank, at), Seen = true };
    }

    /// <summary>Seconds below the lowest probe within this day, as far as the reading holds.</summary>
    private double EmptySeconds(TankTimeline tank, DateTimeOffset to)
    {
        var holds = tank.SeenAt!.Value + SiteTimeline.WordHolds;
        return Seconds(tank.EmptySince!.Value, to < holds ? to : holds, Start, End);
    }

    /// <summary>Seconds within this day since its last reading ceased to hold; a reading that contradicts what water can do holds not at all.</summary>
    private double UnheardSeconds(TankTimeline tank, DateTimeOffset to)
    {
        var from = tank.SeenAt is not { } seen ? Start : tank.Wet is null ? seen : seen + SiteTimeline.WordHolds;
        return Seconds(from, to, Start, End);
    }

    private static double Seconds(DateTimeOffset from, DateTimeOffset to, DateTimeOffset start, DateTimeOffset end) =>
        Math.Max(0, ((to < end ? to : end) - (from > start ? from : start)).TotalSeconds);

    /// <param name="timeline">As it is known now.</param>
    /// <param name="plan">What is installed.</param>
    /// <param name="to">As far as the figures go.</param>
    /// <param name="complete">The record spans the whole day.</param>
    private SiteDay Figures(SiteTimeline timeline, SitePlan plan, DateTimeOffset to, bool complete) => new(
        Date, complete,
        [.. Pumps.Select((tally, i) => Figures(plan.Pumps[i], tally))],
        [.. plan.Tanks.Where(t => t.Role == TankRole.Overhead).Select(t => Figures(t, timeline, plan, to < End ? to : End))]);

    private static PumpDay Figures(Pump pump, PumpTally tally)
    {
        const double RatingError = 0.1; // A nameplate against what a pump draws at its own duty: common practice, no source.
        var measured = RunFlow.Widened(tally.Delivered, tally.OwnVariance);
        Estimate? rate = tally.DeliveredSeconds > 0 ? measured * (60 / tally.DeliveredSeconds) : null;
        var energy = tally.WattSeconds / 3.6e6;
        var scale = tally.DeliveredSeconds > 0 ? tally.RunSeconds / tally.DeliveredSeconds : 0;
        return new(
            pump.Id, tally.Starts, tally.RunSeconds, tally.LongestSeconds, tally.DryTrips, Delivered(tally, rate), rate,
            energy is { } kwh ? new Estimate(kwh, kwh * (1 - RatingError), kwh * (1 + RatingError)) : null, scale * scale * tally.OwnVariance);
    }

    /// <summary>Runs that no crossing measured are taken at the day's mean.</summary>
    private static Estimate? Delivered(PumpTally tally, Estimate? rate) =>
        tally.RunSeconds == 0 ? new Estimate(0, 0, 0) : rate * (tally.RunSeconds / 60);

    private TankDay Figures(Tank tank, SiteTimeline timeline, SitePlan plan, DateTimeOffset to)
    {
        var (tally, balance) = (Tanks[tank.Index], timeline.Tanks[tank.Index].Balance);
        var hours = (to - Start).TotalHours;
        var (used, own) = hours > 0 ? Used(tally, balance, plan, to, hours) : default;
        return new(
            tank.Id, used, balance is null ? null : BalanceBounds.Leak(balance),
            tally.Seen ? tally.EmptySeconds : null, hours > 0 ? Math.Clamp(tally.KnownHours / hours, 0, 1) : 0,
            own, Math.Max(0, (3600 * hours) - tally.UnheardSeconds), tally.UnheardSeconds);
    }

    /// <summary>What the stretches accounted for tell, and for the hours between them what is usual now.</summary>
    /// <returns>Litres, and which part of their variance no other day shares: all but the doubt about the delivery.</returns>
    private (Estimate? Litres, double OwnVariance) Used(in TankTally tally, TankBalance? balance, SitePlan plan, DateTimeOffset to, double hours)
    {
        const double LeastKnown = 0.5, MostlyKnown = 0.8, MissingSpread = 0.6;
        if (tally.KnownHours < LeastKnown * hours)
        {
            return default;
        }

        var (used, own, missing) = (tally.Used, tally.Variance, Math.Max(0, hours - tally.KnownHours));
        if (balance is { Filter: { } filter })
        {
            var (all, spread) = BalanceAccount.Leaving(balance, plan.TimeZone, Start, to);
            var usual = BalanceAccount.Use(filter, plan.TimeZone, Start, to);
            var share = usual > 0 && tally.UsualUse is { } accounted ? Math.Clamp(1 - (accounted / usual), 0, 1) : missing / hours;
            (used, own) = (used + (share * all), own + (share * spread));
        }
        else if (tally.KnownHours >= MostlyKnown * hours)
        {
            // Nothing is usual yet: the rest of the day at the mean of what was seen, give or take most of it.
            var rest = tally.Used * missing / tally.KnownHours;
            (used, own) = (used + rest, own + Math.Pow(MissingSpread * rest, 2));
        }
        else
        {
            return default;
        }

        var half = BalanceAccount.Ninety * Math.Sqrt(own + (tally.Common * tally.Common));
        return (new Estimate(used, Math.Max(0, used - half), used + half), own);
    }
}
