using TankWatch.Core.Timelines;

namespace TankWatch.Core.Snapshots;

/// <summary>The figures of the local day in progress, and of the day before it.</summary>
internal static class DayCodec
{
    public static void Write(SnapshotWriter w, DayLedger day)
    {
        w.Whole(day.Date.DayNumber);
        w.Time(day.Start);
        w.Time(day.End);
        w.Flag(day.SinceStart);
        w.List(day.Pumps, Write);
        w.List(day.Tanks, static (x, tank) =>
        {
            x.Number(tank.Used);
            x.Number(tank.Common);
            x.Number(tank.Variance);
            x.MaybeNumber(tank.UsualUse);
            x.Number(tank.KnownHours);
            x.Number(tank.EmptySeconds);
            x.Flag(tank.Seen);
            x.Number(tank.UnheardSeconds);
        });
        w.Flag(day.Before is not null);
        if (day.Before is { } before)
        {
            Write(w, before);
        }
    }

    public static DayLedger Read(ref SnapshotReader r, bool isBefore = false)
    {
        var (pumps, tanks) = (r.Plan.Pumps.Length, r.Plan.Tanks.Length);
        var date = DateOnly.FromDayNumber(r.Whole(0, DateOnly.MaxValue.DayNumber));
        var day = new DayLedger(
            date, r.Time(), r.Time(), r.Flag(), r.List(ReadPump, pumps),
            r.List(static (ref SnapshotReader x) => new TankTally(x.Number(), x.Number(), x.Number(), x.MaybeNumber(), x.Number(), x.Number(), x.Flag(), x.Number()), tanks), null);
        if (!r.Flag())
        {
            return day;
        }

        // A ledger looks back one day and no farther; more would be bytes that call this for ever.
        if (isBefore)
        {
            r.Fail();
            return day;
        }

        return day with { Before = Read(ref r, isBefore: true) };
    }

    private static void Write(SnapshotWriter w, PumpTally pump)
    {
        w.Whole(pump.Starts);
        w.Number(pump.RunSeconds);
        w.Number(pump.LongestSeconds);
        w.Whole(pump.DryTrips);
        w.Estimate(pump.Delivered);
        w.Number(pump.OwnVariance);
        w.Number(pump.DeliveredSeconds);
        w.MaybeNumber(pump.WattSeconds);
    }

    private static PumpTally ReadPump(ref SnapshotReader r) => new(
        r.Whole(0, int.MaxValue), r.Number(), r.Number(), r.Whole(0, int.MaxValue), r.Estimate(), r.Number(), r.Number(), r.MaybeNumber());
}
