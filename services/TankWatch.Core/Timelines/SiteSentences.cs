using TankWatch.Core.Findings;
using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Timelines;

/// <summary>What a caretaker wants to hear of a site: one sentence on its water, one on its pumps.</summary>
public static class SiteSentences
{
    /// <summary>What the overhead tanks hold, as bounds, and how old the word is where it is old.</summary>
    /// <param name="plan">What is installed.</param>
    /// <param name="state">As it is known now.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static string Water(SitePlan plan, SiteState state, DateTimeOffset now) =>
        string.Join(" ", plan.Tanks.Where(t => t.Role == TankRole.Overhead).Select(t => Water(plan, t, state.Timeline, now)));

    private static string Water(SitePlan plan, Tank tank, SiteTimeline timeline, DateTimeOffset now)
    {
        var water = timeline.Tanks[tank.Index];
        if (water.SeenAt is not { } seen)
        {
            return $"Nothing is known of the water in {tank.Id} yet.";
        }

        var age = timeline.TankKnownUntil(plan, tank.Index) > now ? "" : $", as of {Asking.Lasting(now - seen)} ago";
        if (water.CommonLostSince is not null)
        {
            return $"What {tank.Id} holds is not known: its probes fail{age}.";
        }

        var (low, high) = water.Bounds(tank) ?? (0, tank.Capacity.Value);
        low = Math.Max(0, low - tank.FireReserve.Value);
        high = Math.Max(0, high - tank.FireReserve.Value);
        var reserve = tank.FireReserve.Value > 0 ? " above the fire reserve" : "";
        return (water.EmptySince, water.FullSince) switch
        {
            ({ } empty, _) => $"Tank {tank.Id} is below its lowest probe, {Asking.Plain(high)} litres or less{reserve}, since {Clock(plan, empty)}{age}.",
            (_, { }) => $"Tank {tank.Id} is full, {Asking.Plain(low)} litres or more{reserve}{age}.",
            _ => $"Tank {tank.Id} holds between {Asking.Plain(low)} and {Asking.Plain(high)} litres{reserve}{age}.",
        };
    }

    /// <summary>Whether each pump runs or rests, since when, and what stopped it where that matters.</summary>
    /// <param name="plan">What is installed.</param>
    /// <param name="state">As it is known now.</param>
    /// <param name="now">Wall clock, UTC.</param>
    public static string Pumps(SitePlan plan, SiteState state, DateTimeOffset now) =>
        plan.Pumps.IsEmpty ? "No pump is monitored here." : string.Join(" ", plan.Pumps.Select(p => PumpWords(plan, p, state.Timeline, now)));

    private static string PumpWords(SitePlan plan, Pump pump, SiteTimeline timeline, DateTimeOffset now)
    {
        var state = timeline.Pumps[pump.Index];
        var mode = state.IsManual ? ", in manual mode" : "";
        var old = timeline.PumpKnownUntil(plan, pump.Index) > now ? "" : ", as far as its last word tells";
        return state switch
        {
            { Running: null } => $"Nothing is known of pump {pump.Id} yet.",
            { Running: true } => $"Pump {pump.Id} has been running since {Clock(plan, state.Since!.Value)}{mode}{old}.",
            _ => $"Pump {pump.Id} has been at rest since {Clock(plan, state.Since!.Value)}{Why(state.Cause)}{mode}{old}.",
        };
    }

    private static string Why(Observations.PumpCause cause) => cause switch
    {
        Observations.PumpCause.SumpLow => ", stopped by an empty sump",
        Observations.PumpCause.DryRun => ", stopped because no water came",
        Observations.PumpCause.UnderVoltage => ", stopped by low voltage",
        Observations.PumpCause.OverVoltage => ", stopped by high voltage",
        Observations.PumpCause.Overload => ", stopped by overload",
        Observations.PumpCause.Power => ", stopped by a power cut",
        _ => "",
    };

    private static string Clock(SitePlan plan, DateTimeOffset at) => RuleContext.Clock(plan, at);
}
