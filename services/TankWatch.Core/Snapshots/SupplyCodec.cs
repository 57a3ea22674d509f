using TankWatch.Core.Supply;

namespace TankWatch.Core.Snapshots;

/// <summary>What a sump taught of its supply.</summary>
internal static class SupplyCodec
{
    private const int AllHours = (1 << DayReach.Hours) - 1;

    public static void Write(SnapshotWriter w, SumpSupply supply)
    {
        w.Whole(supply.Day);
        Write(w, supply.Today);
        w.List(supply.Past, Write);
        w.Whole(supply.Probe);
        w.Whole(supply.Expected);
        w.Whole(supply.Comes);
        w.Whole(supply.Anchor.Probe);
        w.Ticks(supply.Anchor.At);
        w.MaybeNumber(supply.Anchor.Drawn);
        w.MaybeNumber(supply.Anchor.Before);
    }

    public static SumpSupply Read(ref SnapshotReader r, int probes) => new()
    {
        Day = r.Whole(),
        Today = ReadDay(ref r),
        Past = r.ListUpTo(SumpSupply.DaysKept, ReadDay),
        Probe = r.Whole(-1, probes - 1),
        Expected = r.Whole(0, AllHours),
        Comes = r.Whole(0, AllHours),
        Anchor = new(r.Whole(-1, probes - 1), r.Ticks(), r.MaybeNumber(), r.MaybeNumber()),
    };

    private static void Write(SnapshotWriter w, DayReach day)
    {
        w.Whole(day.Early);
        w.Whole(day.Late);
    }

    private static DayReach ReadDay(ref SnapshotReader r) => new(r.Whole(), r.Whole());
}
