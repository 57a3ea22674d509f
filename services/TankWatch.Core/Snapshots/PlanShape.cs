using System.Collections.Immutable;
using System.Runtime.CompilerServices;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Snapshots;

/// <summary>What follows from a plan alone, made once for each.</summary>
internal sealed class PlanShape
{
    // A plan lives as long as its site, and the table lets go of the shape with the plan.
    private static readonly ConditionalWeakTable<SitePlan, PlanShape> Shapes = [];

    // Most sites are built alike: a few dozen lists of slots serve them all.
    private const int MostShared = 64;
    private static ImmutableArray<ImmutableArray<(Rule Rule, int Device)>> shared = [];

    private PlanShape(SitePlan plan)
    {
        Slots = Shared(RuleBook.SlotsOf(plan));
        Fingerprint = FingerprintOf(plan, Slots);
    }

    /// <summary>Every rule with every device it is asked about.</summary>
    public ImmutableArray<(Rule Rule, int Device)> Slots { get; }

    /// <summary>Differs between plans by which the same observations would be judged, or worded, differently.</summary>
    public ulong Fingerprint { get; }

    public static PlanShape Of(SitePlan plan) => Shapes.GetValue(plan, static p => new(p));

    private static ImmutableArray<(Rule Rule, int Device)> Shared(ImmutableArray<(Rule Rule, int Device)> slots)
    {
        foreach (var known in shared)
        {
            if (known.AsSpan().SequenceEqual(slots.AsSpan()))
            {
                return known;
            }
        }

        ImmutableInterlocked.Update(ref shared, all => all.Length < MostShared ? all.Add(slots) : all);
        return slots;
    }

    private static ulong FingerprintOf(SitePlan plan, ImmutableArray<(Rule Rule, int Device)> slots)
    {
        // Contacts, prices, the place and the residents are nothing to the judgement: to change them costs no judging again.
        var shape = new SnapshotWriter(plan);
        shape.Text(plan.Name);
        shape.Text(plan.TimeZone.Id);
        shape.List(plan.Tanks, static (w, tank) => Write(w, tank));
        shape.List(plan.Pumps, static (w, pump) => Write(w, pump));
        shape.List(plan.Units, static (w, unit) =>
        {
            w.Text(unit.Id.Value);
            w.List(unit.Tanks, static (x, tank) => x.Whole(tank));
            w.List(unit.Pumps, static (x, pump) => x.Whole(pump));
        });
        shape.List(plan.SupplyHours, static (w, hours) =>
        {
            w.Whole(hours.From.Ticks);
            w.Whole(hours.To.Ticks);
        });
        shape.List(slots, static (w, slot) =>
        {
            w.Whole((int)slot.Rule.Kind);
            w.Whole(slot.Device);
        });
        return SiteStateCodec.Checksum(shape.Written);
    }

    private static void Write(SnapshotWriter w, Tank tank)
    {
        w.Text(tank.Id.Value);
        w.Whole((int)tank.Role);
        w.Number(tank.Capacity.Value);
        w.Number(tank.FireReserve.Value);
        w.List(tank.Probes, static (x, probe) =>
        {
            x.Text(probe.Name);
            x.Number(probe.Volume.Value);
        });
    }

    private static void Write(SnapshotWriter w, Pump pump)
    {
        w.Text(pump.Id.Value);
        w.MaybeWhole(pump.From);
        w.List(pump.To, static (x, tank) => x.Whole(tank));
        w.MaybeNumber(pump.RatedWatts);
        w.MaybeNumber(pump.RatedDelivery?.Value);
        w.MaybeNumber(pump.StaticLiftMetres);
        w.Number(pump.MaxStartsPerHour);
        w.Flag(pump.MaxStartsAssumed);
        w.Whole(pump.MinRun.Ticks);
        w.Flag(pump.MinRunAssumed);
        w.MaybeNumber(pump.Riser?.Value);
        w.Flag(pump.DryRunDetector);
    }
}
