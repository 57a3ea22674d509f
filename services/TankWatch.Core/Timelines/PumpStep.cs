using TankWatch.Core.Observations;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Timelines;

/// <summary>What a pump's start, stop or repeated state adds to the timeline.</summary>
internal static class PumpStep
{
    public static readonly TimeSpan StartsKept = TimeSpan.FromHours(1);
    public static readonly TimeSpan TripsKept = TimeSpan.FromHours(24);
    public const int TopRunsKept = 6;
    private const int NormalRunsKept = 15;

    public static (SiteTimeline Next, PumpRun? Ended) Apply(SiteTimeline timeline, PumpObservation seen, SitePlan plan)
    {
        var (pump, was, at) = (plan.Pumps[seen.Pump], timeline.Pumps[seen.Pump], seen.Stamp.At);
        var isManual = seen.Manual ?? (seen.Cause == PumpCause.Manual && seen.Running);
        var now = was with { ManualSince = isManual ? was.ManualSince ?? at : null };
        now = seen.Volts is { } volts ? Measured(now, volts) : now;
        if (was.Running == seen.Running)
        {
            return (timeline.With(seen.Pump, Repeated(now, seen)), null);
        }

        // A start or stop changes the flow into the tanks: fills and drains in progress are no longer of one kind.
        var tanks = timeline.WithTanks(pump.To, tank => tank with { Filling = null, Draining = null });
        if (seen.Running)
        {
            return (tanks.With(seen.Pump, Started(now, seen, pump, timeline, isManual)), null);
        }

        // A start and a stop of one moment count as a start and as a stop, but no water ran between them.
        var ended = was.Run is { } run && at > run.StartedAt ? Ended(run, was, seen, pump, timeline, plan) : null;
        return (tanks.With(seen.Pump, Stopped(now, seen, pump, timeline, ended)), ended);
    }

    private static PumpTimeline Repeated(PumpTimeline now, PumpObservation seen) => now.Run is not { } run ? now : now with
    {
        Run = run with { Manual = run.Manual || now.IsManual, Watts = seen.Watts ?? run.Watts },
    };

    private static PumpTimeline Started(PumpTimeline now, PumpObservation seen, Pump pump, SiteTimeline timeline, bool isManual)
    {
        var at = seen.Stamp.At;
        var manual = isManual || seen.Cause == PumpCause.Manual;
        var automatic = !manual && seen.Cause != PumpCause.TopUp;

        // The first word of a pump says that it runs, not that it just started.
        var isStart = now.Running == false;

        // Where the sump has no probes, nothing but this start tells that its water is back.
        var sumpTells = pump.From is { } sump && !timeline.Tanks[sump].Probes.IsEmpty;
        return now with
        {
            Running = true,
            Since = at,
            Cause = seen.Cause,
            Run = new(at, seen.Cause, manual, automatic, seen.Watts,
                [.. pump.To.Select(_ => (Rise?)null)], [.. pump.To.Select(tank => timeline.Tanks[tank].Draw)]),
            AutomaticStarts = isStart && automatic ? now.AutomaticStarts.Add(at, StartsKept) : now.AutomaticStarts,
            EarlyStartAt = isStart && !manual && sumpTells && now.CutOutAt is not null ? at : now.EarlyStartAt,
            CutOutAt = sumpTells ? now.CutOutAt : null,
        };
    }

    private static PumpTimeline Stopped(PumpTimeline now, PumpObservation seen, Pump pump, SiteTimeline timeline, PumpRun? ended)
    {
        var at = seen.Stamp.At;
        var sumpIsEmpty = pump.From is { } sump && timeline.Tanks[sump].EmptySince is not null;
        var cutOut = seen.Cause == PumpCause.SumpLow || (seen.Cause == PumpCause.Unknown && sumpIsEmpty && now.Running == true);
        var next = now with
        {
            Running = false,
            Since = at,
            Cause = seen.Cause,
            Run = null,
            LastRun = ended ?? now.LastRun,
            CutOutAt = cutOut ? at : now.CutOutAt,
            DryTrips = cutOut || seen.Cause == PumpCause.DryRun ? now.DryTrips.Add(at, TripsKept) : now.DryTrips,
            VoltageTrips = seen.Cause is PumpCause.UnderVoltage or PumpCause.OverVoltage ? now.VoltageTrips.Add(at, TripsKept) : now.VoltageTrips,
            OverloadTrips = seen.Cause == PumpCause.Overload ? now.OverloadTrips.Add(at, TripsKept) : now.OverloadTrips,
            Deliveries = ended?.Delivery is { } q ? now.Deliveries.Add(q.Value, NormalRunsKept) : now.Deliveries,
        };
        var isTopRun = ended is { ReachedTop: true, Manual: false } && now.Run is { Automatic: true };
        return isTopRun ? WithTopRun(next, ended!) : next;
    }

    private static PumpTimeline WithTopRun(PumpTimeline pump, PumpRun run)
    {
        var seconds = run.Duration!.Value.TotalSeconds;
        var kept = pump.TopRuns.Length < TopRunsKept ? pump.TopRuns : pump.TopRuns.RemoveAt(0);
        return pump with
        {
            TopRuns = kept.Add(new(run.StartedAt, (float)seconds)),
            NormalRunSeconds = pump.NormalRunSeconds.Add(seconds, NormalRunsKept),
        };
    }

    private static PumpRun Ended(
        RunInProgress run, PumpTimeline was, PumpObservation seen, Pump pump, SiteTimeline timeline, SitePlan plan)
    {
        var at = seen.Stamp.At;
        var flow = RunFlow.Of(run, pump, timeline, plan, at);
        var delivery = flow?.Total;
        var isFull = pump.To.All(tank => timeline.Tanks[tank].FullSince is not null);
        return new(
            pump.Id, run.StartedAt, at, run.Cause, seen.Cause, run.Manual || was.IsManual,
            seen.Cause == PumpCause.Level || (isFull && seen.Cause is PumpCause.Unknown or PumpCause.TopUp),
            delivery * (at - run.StartedAt).TotalMinutes, delivery) { Flow = flow };
    }

    /// <summary>Notes a voltage; one well below the usual teaches nothing about what is usual.</summary>
    public static PumpTimeline Measured(PumpTimeline pump, double volts)
    {
        const double Newest = 0.1;
        var usual = pump.UsualVolts is { } known ? ((1 - Newest) * known) + (Newest * volts) : volts;
        var next = pump with { Volts = volts };
        return next.IsLowVoltage ? next : next with { UsualVolts = usual };
    }

    /// <summary>Notes a rise in a tank served during the run in progress.</summary>
    public static PumpTimeline Rise(PumpTimeline now, Pump pump, int tank, Crossing crossing)
    {
        if (now.Run is not { } run)
        {
            return now;
        }

        var slot = pump.To.IndexOf(tank);
        var rise = run.Rises[slot] is { } before ? before with { Newest = crossing } : new Rise(crossing, crossing);
        return now with { Run = run with { Rises = run.Rises.SetItem(slot, rise) } };
    }
}
