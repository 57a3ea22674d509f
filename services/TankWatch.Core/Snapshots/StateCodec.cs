using TankWatch.Core.Findings;
using TankWatch.Core.Observations;

namespace TankWatch.Core.Snapshots;

/// <summary>The state, its rules with their open findings, and its newest observation.</summary>
internal static class StateCodec
{
    // A slow fill says one sentence for every two probes of every tank.
    private const int MostTexts = 1024;

    public static void Write(SnapshotWriter w, SiteState state)
    {
        w.Time(state.TickedTo);
        w.MaybeTime(state.WakeAt);
        w.Flag(state.Last is not null);
        if (state.Last is { } last)
        {
            Write(w, last);
        }

        w.List(state.Timeline.Tanks, TimelineCodec.Write);
        w.List(state.Timeline.Pumps, TimelineCodec.Write);
        w.List(state.Timeline.Units, TimelineCodec.Write);
        w.Flag(state.Day is not null);
        if (state.Day is { } day)
        {
            DayCodec.Write(w, day);
        }

        w.List(state.Rules, Write);
    }

    public static SiteState Read(ref SnapshotReader r)
    {
        var ticked = r.Time();
        var wake = r.MaybeTime();
        var last = r.Flag() ? ReadObservation(ref r) : null;
        var tank = 0; // The reader takes them in the order of the plan.
        var tanks = r.List((ref SnapshotReader x) => TimelineCodec.ReadTank(ref x, tank++), r.Plan.Tanks.Length);
        var pump = 0;
        var pumps = r.List((ref SnapshotReader x) => TimelineCodec.ReadPump(ref x, pump++), r.Plan.Pumps.Length);
        var units = r.List(TimelineCodec.ReadUnit, r.Plan.Units.Length);
        var day = r.Flag() ? DayCodec.Read(ref r) : null;
        var rules = r.List(ReadRule, PlanShape.Of(r.Plan).Slots.Length);
        return new(new(tanks, pumps, units), rules, day, last, ticked, wake);
    }

    private static void Write(SnapshotWriter w, RuleState rule)
    {
        w.Flag(rule != RuleState.Quiet);
        if (rule == RuleState.Quiet)
        {
            return;
        }

        w.MaybeTime(rule.HoldsSince);
        w.MaybeTime(rule.GoneSince);
        w.MaybeTime(rule.LastClearedAt);
        w.Flag(rule.Open is not null);
        if (rule.Open is { } open)
        {
            Write(w, open);
        }
    }

    private static RuleState ReadRule(ref SnapshotReader r)
    {
        if (!r.Flag())
        {
            return RuleState.Quiet;
        }

        var (holds, gone, cleared) = (r.MaybeTime(), r.MaybeTime(), r.MaybeTime());
        return new(r.Flag() ? ReadFinding(ref r) : null, holds, gone, cleared);
    }

    private static void Write(SnapshotWriter w, Finding finding)
    {
        w.Whole((int)finding.Kind);
        w.Device(finding.Device);
        w.Whole((int)finding.Priority);
        w.Time(finding.Since);
        w.Time(finding.RaisedAt);
        w.MaybeTime(finding.ClearedAt);
        w.Flag(finding.Estimate is not null);
        if (finding.Estimate is { } estimate)
        {
            w.Text(estimate.Name);
            w.Estimate(estimate.Size);
            w.Text(estimate.Unit);
        }

        w.List(finding.Causes, static (x, cause) =>
        {
            x.Text(cause.Name);
            x.Number(cause.Probability);
        });
        w.Phrase(finding.Text.Summary);
        w.List(finding.Text.Evidence, PhraseCodec.Phrase);
        w.List(finding.Text.Advice, PhraseCodec.Phrase);
        w.List(finding.Text.Cautions, PhraseCodec.Phrase);
    }

    private static Finding ReadFinding(ref SnapshotReader r) => new(
        r.Name<FindingKind>(), r.Device(), r.Name<Priority>(), r.Time(), r.Time(), r.MaybeTime(),
        r.Flag() ? new(r.Text(), r.Estimate(), r.Text()) : null,
        r.ListUpTo(MostTexts, static (ref SnapshotReader x) => new WeighedCause(x.Text(), x.Number())),
        new(r.Phrase(), r.ListUpTo(MostTexts, PhraseCodec.Phrase), r.ListUpTo(MostTexts, PhraseCodec.Phrase), r.ListUpTo(MostTexts, PhraseCodec.Phrase)));

    private static void Write(SnapshotWriter w, Observation observation)
    {
        w.Stamp(observation.Stamp);
        switch (observation)
        {
            case SupplyObservation supply:
                w.Whole(0);
                w.Flag(supply.Mains);
                w.MaybeNumber(supply.Volts);
                break;
            case LevelObservation level:
                w.Whole(1);
                w.Whole(level.Tank);
                w.Whole(level.Wet);
                break;
            case PumpObservation pump:
                w.Whole(2);
                w.Whole(pump.Pump);
                w.Flag(pump.Running);
                w.Whole((int)pump.Cause);
                w.MaybeFlag(pump.Manual);
                w.MaybeNumber(pump.Volts);
                w.MaybeNumber(pump.Amps);
                w.MaybeNumber(pump.Watts);
                break;
            case InletObservation inlet:
                w.Whole(3);
                w.Whole(inlet.Pump);
                w.Flag(inlet.Flowing);
                break;
            case StatusObservation status:
                w.Whole(4);
                w.Flag(status.Online);
                w.MaybeText(status.Firmware);
                w.MaybeNumber(status.SignalDbm);
                w.MaybeNumber(status.BatteryPercent);
                break;
            default:
                throw new ArgumentException($"no bytes stand for a {observation.GetType().Name}", nameof(observation));
        }
    }

    private static Observation ReadObservation(ref SnapshotReader r)
    {
        var stamp = r.Stamp();
        var (tanks, pumps) = (r.Plan.Tanks.Length, r.Plan.Pumps.Length);
        return r.Whole(0, 4) switch
        {
            0 => new SupplyObservation(stamp, r.Flag(), r.MaybeNumber()),
            1 => new LevelObservation(stamp, r.Whole(0, tanks - 1), r.Whole(0, int.MaxValue)),
            2 => new PumpObservation(
                stamp, r.Whole(0, pumps - 1), r.Flag(), r.Name<PumpCause>(), r.MaybeFlag(), r.MaybeNumber(), r.MaybeNumber(), r.MaybeNumber()),
            3 => new InletObservation(stamp, r.Whole(0, pumps - 1), r.Flag()),
            _ => new StatusObservation(stamp, r.Flag(), r.MaybeText(), r.MaybeNumber(), r.MaybeNumber()),
        };
    }
}
