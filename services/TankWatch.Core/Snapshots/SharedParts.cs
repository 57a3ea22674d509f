using TankWatch.Core.Observations;
using TankWatch.Core.Timelines;

namespace TankWatch.Core.Snapshots;

/// <summary>Small values that several parts of a state hold.</summary>
internal static class SharedParts
{
    // More than any sample keeps; its median is taken on the stack.
    private const int MostOfSample = 64;

    public static void Stamp(this SnapshotWriter w, Stamp stamp)
    {
        w.Unit(stamp.Unit);
        w.Time(stamp.At);
        w.Time(stamp.ReceivedAt);
        w.MaybeTime(stamp.ClaimedAt);
        w.MaybeWhole(stamp.Boot);
        w.MaybeWhole(stamp.Seq);
    }

    public static Stamp Stamp(this ref SnapshotReader r) => new(r.Unit(), r.Time(), r.Time(), r.MaybeTime(), r.MaybeWhole(), r.MaybeWhole());

    public static void Estimate(this SnapshotWriter w, Estimate estimate)
    {
        w.Number(estimate.Value);
        w.Number(estimate.Low);
        w.Number(estimate.High);
    }

    public static Estimate Estimate(this ref SnapshotReader r) => new(r.Number(), r.Number(), r.Number());

    public static void MaybeEstimate(this SnapshotWriter w, Estimate? estimate)
    {
        w.Flag(estimate is not null);
        if (estimate is { } known)
        {
            w.Estimate(known);
        }
    }

    public static Estimate? MaybeEstimate(this ref SnapshotReader r) => r.Flag() ? r.Estimate() : null;

    public static void MaybeCrossing(this SnapshotWriter w, Crossing? crossing)
    {
        w.Flag(crossing is not null);
        if (crossing is { } known)
        {
            w.Whole(known.Probe);
            w.Time(known.At);
            w.Flag(known.Rising);
        }
    }

    /// <param name="r">The reader.</param>
    /// <param name="probes">How many the tank has: a crossing of another would be no place of its arrays.</param>
    public static Crossing? MaybeCrossing(this ref SnapshotReader r, int probes) =>
        r.Flag() ? new(r.Whole(0, probes - 1), r.Time(), r.Flag()) : null;

    public static void Times(this SnapshotWriter w, RecentTimes times) => w.List(times.At, static (x, at) => x.Time(at));

    public static RecentTimes Times(this ref SnapshotReader r) => new(r.ListUpTo(RecentTimes.Limit, static (ref SnapshotReader x) => x.Time()));

    public static void Sample(this SnapshotWriter w, Sample sample) => w.List(sample.Values, static (x, value) => x.Single(value));

    public static Sample Sample(this ref SnapshotReader r) => new(r.ListUpTo(MostOfSample, static (ref SnapshotReader x) => x.Single()));
}
