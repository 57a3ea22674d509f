using TankWatch.Core.Balance;
using TankWatch.Core.Findings;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Snapshots;

/// <summary>What the crossings of a tank taught.</summary>
internal static class BalanceCodec
{
    public static void Write(SnapshotWriter w, TankBalance balance)
    {
        Write(w, balance.Anchor);
        w.List(balance.First, Write);
        w.Flag(balance.Filter is not null);
        if (balance.Filter is { } filter)
        {
            w.Whole(filter.Columns);
            w.Ticks(filter.LastTicks);
            w.Singles(filter.Mean);
            w.Singles(filter.Covariance);
        }

        w.Whole(balance.Passages);
        w.Number(balance.Scale);
        w.Whole(balance.ScaleWeight);
        w.List(balance.Onsets, static (x, onset) =>
        {
            x.Ticks(onset.Ticks);
            x.Shorts(onset.Packed);
            x.Singles(onset.Sums);
        });
        w.List(balance.Witnesses, Write);
        Write(w, balance.Outflow);
        Write(w, balance.Delivery);
        Write(w, balance.Use);
        w.Number(balance.HabitDoubt);
        w.Number(balance.UsualDelivery);
    }

    public static TankBalance Read(ref SnapshotReader r, Tank tank)
    {
        var (anchor, ways) = (ReadAnchor(ref r, tank), WaysIn.Count(r.Plan, tank.Index));
        var first = r.ListUpTo(2 * BalanceModel.FirstPassages, (ref SnapshotReader x) => ReadPassage(ref x, tank));
        var filter = r.Flag() ? ReadFilter(ref r, ways, Math.Max(0, tank.Probes.Length - 2)) : null;
        var count = filter?.Count ?? 0;
        return new()
        {
            Anchor = anchor,
            First = first,
            Filter = filter,
            Passages = r.Whole(0, int.MaxValue),
            Scale = r.Number(),
            ScaleWeight = r.Whole(0, int.MaxValue),
            Onsets = r.ListUpTo(BalanceStep.OnsetsAtMost, (ref SnapshotReader x) => new Onset(
                x.Ticks(), count, x.Shorts(count == 0 ? 0 : Onset.PackedLength(count)), x.Singles(Onset.SumsLength))),
            Witnesses = r.ListUpTo(TankBalance.WitnessesKept, (ref SnapshotReader x) => ReadWitness(ref x, tank)),
            Outflow = ReadFound(ref r),
            Delivery = ReadFound(ref r),
            Use = ReadFound(ref r),
            HabitDoubt = r.Number(),
            UsualDelivery = r.Number(),
        };
    }

    private static BalanceFilter ReadFilter(ref SnapshotReader r, int ways, int innerProbes)
    {
        var columns = r.Whole(ways, ways);
        var last = r.Ticks();
        var count = BalanceFilter.Inflow + columns + innerProbes;
        return new(columns, r.Singles(count), r.Singles(BalanceFilter.Triangle(count)), last);
    }

    private static void Write(SnapshotWriter w, Anchor anchor)
    {
        w.Whole(anchor.Probe);
        w.Flag(anchor.Falling);
        w.Ticks(anchor.At);
        Write(w, anchor.On);
        Write(w, anchor.Run);
        w.Whole(anchor.Flowing);
        w.Ticks(anchor.FlowingSince);
        w.Ticks(anchor.DrySince);
        w.Number(anchor.DryHours);
        w.Flag(anchor.LowVoltage);
    }

    private static Anchor ReadAnchor(ref SnapshotReader r, Tank tank) => new(
        r.Whole(-1, tank.Probes.Length - 1), r.Flag(), r.Ticks(), ReadInflows(ref r), ReadInflows(ref r), r.Whole(0, (2 * WaysIn.ToppedUp) - 1),
        r.Ticks(), r.Ticks(), r.Number(), r.Flag());

    private static void Write(SnapshotWriter w, Inflows inflows)
    {
        for (var way = 0; way < Inflows.Most; way++)
        {
            w.Number(inflows[way]);
        }
    }

    private static Inflows ReadInflows(ref SnapshotReader r) => new(r.Number(), r.Number(), r.Number(), r.Number());

    private static void Write(SnapshotWriter w, Passage passage)
    {
        w.Whole(passage.From);
        w.Whole(passage.To);
        w.Flag(passage.FromFalling);
        w.Flag(passage.ToFalling);
        w.Time(passage.Start);
        w.Time(passage.End);
        Write(w, passage.On);
        w.Flag(passage.LowVoltage);
    }

    private static Passage ReadPassage(ref SnapshotReader r, Tank tank) => new(
        r.Whole(0, tank.Probes.Length - 1), r.Whole(0, tank.Probes.Length - 1), r.Flag(), r.Flag(), r.Time(), r.Time(), ReadInflows(ref r), r.Flag());

    private static void Write(SnapshotWriter w, Witness witness)
    {
        w.Ticks(witness.Start);
        w.Ticks(witness.End);
        w.Whole(witness.From);
        w.Whole(witness.To);
        w.Flag(witness.Filling);
        w.Single(witness.Gain);
        w.Single(witness.Expected);
        w.Single(witness.Spread);
    }

    private static Witness ReadWitness(ref SnapshotReader r, Tank tank) => new(
        r.Ticks(), r.Ticks(), (byte)r.Whole(0, tank.Probes.Length - 1), (byte)r.Whole(0, tank.Probes.Length - 1), r.Flag(), r.Single(), r.Single(), r.Single());

    private static void Write(SnapshotWriter w, Found? found)
    {
        w.Flag(found is not null);
        if (found is not null)
        {
            w.Whole((int)found.Change);
            w.Time(found.Since);
            w.Time(found.At);
            w.Number(found.Size);
            w.Number(found.Spread);
            w.List(found.Causes, static (x, cause) =>
            {
                x.Text(cause.Name);
                x.Number(cause.Probability);
            });
            w.Number(found.Before);
        }
    }

    private static Found? ReadFound(ref SnapshotReader r) => !r.Flag() ? null : new(
        r.Name<Change>(), r.Time(), r.Time(), r.Number(), r.Number(),
        r.ListUpTo(Changes.Count, static (ref SnapshotReader x) => new WeighedCause(x.Text(), x.Number())), r.Number());
}
