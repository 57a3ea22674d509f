using System.Collections.Immutable;
using TankWatch.Core.Balance;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Supply;

namespace TankWatch.Core.Timelines;

/// <summary>Adds the next observation to a site's timeline.</summary>
internal static class TimelineStep
{
    /// <returns>The timeline after it, the run it ended, if any, and the stretches of water it accounts for.</returns>
    public static (SiteTimeline Next, PumpRun? Ended, ImmutableArray<Accounted> Accounted) Apply(SiteTimeline timeline, Observation observation, SitePlan plan)
    {
        var unit = plan.FindUnit(observation.Stamp.Unit)
            ?? throw new ArgumentException("the observation is of no unit of this plan", nameof(observation));
        var heard = timeline.Units[unit.Index];
        var (next, ended) = observation switch
        {
            LevelObservation level => (LevelStep.Apply(timeline, level, plan, IsNextWord(heard.Last, level.Stamp)), null),
            PumpObservation pump => PumpStep.Apply(timeline, pump, plan),
            InletObservation inlet => (timeline.With(inlet.Pump, timeline.Pumps[inlet.Pump] with { Flowing = inlet.Flowing }), null),
            SupplyObservation { Mains: true, Volts: { } volts } => (Measured(timeline, unit, volts), null),
            _ => (timeline, (PumpRun?)null),
        };
        next = next with { Units = next.Units.SetItem(unit.Index, Heard(heard, observation)) };
        next = SumpObserver.Apply(timeline, next, observation, ended, plan);
        (next, var accounted) = BalanceObserver.Apply(timeline, next, observation, plan);
        return (next, ended, accounted);
    }

    private static SiteTimeline Measured(SiteTimeline timeline, FieldUnit unit, double volts)
    {
        foreach (var pump in unit.Pumps)
        {
            timeline = timeline.With(pump, PumpStep.Measured(timeline.Pumps[pump], volts));
        }

        return timeline;
    }

    private static UnitTimeline Heard(UnitTimeline unit, Observation observation) => observation switch
    {
        // A Will is the broker's word that the unit is gone, not the unit's.
        StatusObservation { Online: false } => unit,
        SupplyObservation supply => new(
            supply.Stamp, supply.Mains ? null : unit.MainsOffSince ?? supply.Stamp.At, MainsKnown: true),
        _ => unit with { Last = observation.Stamp },
    };

    /// <summary>No message of the unit is missing between the two.</summary>
    private static bool IsNextWord(Stamp? last, Stamp stamp) =>
        last is { Seq: { } before } && stamp is { Seq: { } seq } && last.Value.Boot == stamp.Boot && seq == before + 1;

    public static SiteTimeline With(this SiteTimeline timeline, int pump, PumpTimeline next) =>
        timeline with { Pumps = timeline.Pumps.SetItem(pump, next) };

    public static SiteTimeline With(this SiteTimeline timeline, int tank, TankTimeline next) =>
        timeline with { Tanks = timeline.Tanks.SetItem(tank, next) };

    public static SiteTimeline WithTanks(this SiteTimeline timeline, ImmutableArray<int> indices, Func<TankTimeline, TankTimeline> change)
    {
        var tanks = timeline.Tanks.ToBuilder();
        foreach (var index in indices)
        {
            tanks[index] = change(tanks[index]);
        }

        return timeline with { Tanks = tanks.DrainToImmutable() };
    }
}
