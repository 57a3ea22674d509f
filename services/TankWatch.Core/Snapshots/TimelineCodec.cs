using TankWatch.Core.Observations;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Snapshots;

/// <summary>What is known of tanks, pumps and units.</summary>
internal static class TimelineCodec
{
    public static void Write(SnapshotWriter w, TankTimeline tank)
    {
        w.MaybeWhole(tank.Wet);
        w.MaybeTime(tank.SeenAt);
        w.MaybeTime(tank.EmptySince);
        w.MaybeTime(tank.FullSince);
        w.MaybeTime(tank.DisorderSince);
        w.MaybeTime(tank.CommonLostSince);
        w.Flag(tank.Calling);
        w.Whole(tank.LastProbe);
        w.Whole(tank.LastProbeStreak);
        w.MaybeCrossing(tank.Last);
        w.MaybeCrossing(tank.Filling);
        w.MaybeCrossing(tank.Draining);
        w.MaybeNumber(tank.Draw);
        w.List(tank.Probes, Write);
        w.List(tank.Fills, Write);
        w.Flag(tank.Balance is not null);
        if (tank.Balance is { } balance)
        {
            BalanceCodec.Write(w, balance);
        }

        w.Flag(tank.Supply is not null);
        if (tank.Supply is { } supply)
        {
            SupplyCodec.Write(w, supply);
        }
    }

    public static TankTimeline ReadTank(ref SnapshotReader r, int index)
    {
        var probes = r.Plan.Tanks[index].Probes.Length;
        return new()
        {
            Wet = r.Flag() ? r.Whole(0, (1 << probes) - 1) : null,
            SeenAt = r.MaybeTime(),
            EmptySince = r.MaybeTime(),
            FullSince = r.MaybeTime(),
            DisorderSince = r.MaybeTime(),
            CommonLostSince = r.MaybeTime(),
            Calling = r.Flag(),
            LastProbe = r.Whole(-1, probes - 1),
            LastProbeStreak = r.Whole(0, int.MaxValue),
            Last = r.MaybeCrossing(probes),
            Filling = r.MaybeCrossing(probes),
            Draining = r.MaybeCrossing(probes),
            Draw = r.MaybeNumber(),
            Probes = r.List(ReadProbe, probes),
            Fills = r.List(ReadFills, Math.Max(0, probes - 1)),
            Balance = r.Flag() ? BalanceCodec.Read(ref r, r.Plan.Tanks[index]) : null,
            Supply = r.Flag() ? SupplyCodec.Read(ref r, probes) : null,
        };
    }

    private static void Write(SnapshotWriter w, ProbeTimeline probe)
    {
        w.MaybeTime(probe.ChangedAt);
        w.Times(probe.Flips);
        w.Flag(probe.LowerMoved);
        w.Flag(probe.UpperMoved);
        w.Whole(probe.PassedBy);
    }

    private static ProbeTimeline ReadProbe(ref SnapshotReader r) => new(r.MaybeTime(), r.Times(), r.Flag(), r.Flag(), r.Whole(0, int.MaxValue));

    private static void Write(SnapshotWriter w, PairFills fills)
    {
        w.Sample(fills.Normal);
        w.MaybeNumber(fills.LastSeconds);
        w.MaybeNumber(fills.LastRatio);
        w.Whole(fills.SlowStreak);
        w.MaybeTime(fills.SlowSince);
    }

    private static PairFills ReadFills(ref SnapshotReader r) =>
        new(r.Sample(), r.MaybeNumber(), r.MaybeNumber(), r.Whole(0, int.MaxValue), r.MaybeTime());

    public static void Write(SnapshotWriter w, PumpTimeline pump)
    {
        w.MaybeFlag(pump.Running);
        w.MaybeTime(pump.Since);
        w.Whole((int)pump.Cause);
        w.MaybeTime(pump.ManualSince);
        w.Flag(pump.Run is not null);
        if (pump.Run is { } run)
        {
            Write(w, run);
        }

        w.MaybeFlag(pump.Flowing);
        w.Times(pump.AutomaticStarts);
        w.List(pump.TopRuns, static (x, top) =>
        {
            x.Time(top.StartedAt);
            x.Single(top.Seconds);
        });
        w.Sample(pump.NormalRunSeconds);
        w.Sample(pump.Deliveries);
        w.MaybeNumber(pump.Volts);
        w.MaybeNumber(pump.UsualVolts);
        w.Times(pump.DryTrips);
        w.Times(pump.VoltageTrips);
        w.Times(pump.OverloadTrips);
        w.MaybeTime(pump.CutOutAt);
        w.MaybeTime(pump.EarlyStartAt);
        w.Flag(pump.LastRun is not null);
        if (pump.LastRun is { } last)
        {
            Write(w, last);
        }
    }

    public static PumpTimeline ReadPump(ref SnapshotReader r, int index) => new()
    {
        Running = r.MaybeFlag(),
        Since = r.MaybeTime(),
        Cause = r.Name<PumpCause>(),
        ManualSince = r.MaybeTime(),
        Run = r.Flag() ? ReadRun(ref r, index) : null,
        Flowing = r.MaybeFlag(),
        AutomaticStarts = r.Times(),
        TopRuns = r.ListUpTo(PumpStep.TopRunsKept, static (ref SnapshotReader x) => new TopRun(x.Time(), x.Single())),
        NormalRunSeconds = r.Sample(),
        Deliveries = r.Sample(),
        Volts = r.MaybeNumber(),
        UsualVolts = r.MaybeNumber(),
        DryTrips = r.Times(),
        VoltageTrips = r.Times(),
        OverloadTrips = r.Times(),
        CutOutAt = r.MaybeTime(),
        EarlyStartAt = r.MaybeTime(),
        LastRun = r.Flag() ? ReadEnded(ref r) : null,
    };

    private static void Write(SnapshotWriter w, RunInProgress run)
    {
        w.Time(run.StartedAt);
        w.Whole((int)run.Cause);
        w.Flag(run.Manual);
        w.Flag(run.Automatic);
        w.MaybeNumber(run.Watts);
        w.List(run.Rises, static (x, rise) =>
        {
            x.MaybeCrossing(rise?.First);
            x.MaybeCrossing(rise?.Newest);
        });
        w.List(run.DrawBefore, static (x, draw) => x.MaybeNumber(draw));
    }

    private static RunInProgress ReadRun(ref SnapshotReader r, int index)
    {
        var (plan, pump) = (r.Plan, r.Plan.Pumps[index]);
        var slot = 0;
        return new(
            r.Time(), r.Name<PumpCause>(), r.Flag(), r.Flag(), r.MaybeNumber(),
            r.List((ref SnapshotReader x) => ReadRise(ref x, plan.Tanks[pump.To[slot++]].Probes.Length), pump.To.Length),
            r.List(static (ref SnapshotReader x) => x.MaybeNumber(), pump.To.Length));
    }

    private static Rise? ReadRise(ref SnapshotReader r, int probes)
    {
        var (first, newest) = (r.MaybeCrossing(probes), r.MaybeCrossing(probes));
        if (first is null != newest is null)
        {
            r.Fail();
        }

        return first is { } from && newest is { } to ? new Rise(from, to) : null;
    }

    private static void Write(SnapshotWriter w, PumpRun run)
    {
        w.Device(run.Pump);
        w.Time(run.StartedAt);
        w.MaybeTime(run.StoppedAt);
        w.Whole((int)run.StartCause);
        w.MaybeWhole((int?)run.StopCause);
        w.Flag(run.Manual);
        w.Flag(run.ReachedTop);
        w.MaybeEstimate(run.Delivered);
        w.MaybeEstimate(run.Delivery);
        w.MaybeEstimate(run.Flow?.Common);
        w.MaybeNumber(run.Flow?.Own);
    }

    private static PumpRun ReadEnded(ref SnapshotReader r)
    {
        var run = new PumpRun(
            r.Device(), r.Time(), r.MaybeTime(), r.Name<PumpCause>(), r.Flag() ? r.Name<PumpCause>() : null, r.Flag(), r.Flag(),
            r.MaybeEstimate(), r.MaybeEstimate());
        var (common, own) = (r.MaybeEstimate(), r.MaybeNumber());
        return run with { Flow = common is { } shared && own is { } spread ? new RunFlow(shared, spread) : null };
    }

    public static void Write(SnapshotWriter w, UnitTimeline unit)
    {
        w.Flag(unit.Last is not null);
        if (unit.Last is { } last)
        {
            w.Stamp(last);
        }

        w.MaybeTime(unit.MainsOffSince);
        w.Flag(unit.MainsKnown);
    }

    public static UnitTimeline ReadUnit(ref SnapshotReader r) => new(r.Flag() ? r.Stamp() : null, r.MaybeTime(), r.Flag());
}
