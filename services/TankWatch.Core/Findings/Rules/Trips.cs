using TankWatch.Core.Timelines;

namespace TankWatch.Core.Findings.Rules;

/// <summary>A pump that was stopped for one reason again and again within 24 hours.</summary>
internal abstract class Trips : Rule
{
    protected static readonly TimeSpan Window = TimeSpan.FromHours(24);

    public override RuleScope Scope => RuleScope.Pump;

    protected abstract int RaiseAt { get; }
    protected abstract int ClearAt { get; }
    protected abstract RecentTimes Of(PumpTimeline pump);

    public override Verdict Judge(in RuleContext context, int device)
    {
        var trips = Of(context.Timeline.Pumps[device]);
        var count = trips.CountWithin(Window, context.Now);
        var oldestLeaves = count > 0 ? trips.Newest(count) + Window : null;
        return count >= RaiseAt ? Verdict.Holds(trips.Newest(RaiseAt), oldestLeaves)
            : count <= ClearAt ? Verdict.ClearUntil(oldestLeaves) : Verdict.Between(oldestLeaves);
    }

    public override Description Describe(in RuleContext context, int device, DateTimeOffset since)
    {
        var pump = context.Plan.Pumps[device];
        var trips = Of(context.Timeline.Pumps[device]);
        var count = trips.CountWithin(Window, context.Now);
        var plan = context.Plan;
        var times = string.Join(", ", trips.At.TakeLast(Math.Min(count, 5)).Select(at => RuleContext.Clock(plan, at)));
        return new(Words(context, pump.Id.Value, $"{count} such stops in the last 24 hours, the latest at {times}."));
    }

    protected abstract FindingText Words(in RuleContext context, string pump, string counted);
}

/// <summary>The pump keeps stopping because no water comes.</summary>
internal sealed class RepeatedDryTrips : Trips
{
    public override FindingKind Kind => FindingKind.RepeatedDryTrips;
    public override Priority Priority => Priority.High;
    protected override int RaiseAt => 3;
    protected override int ClearAt => 1;
    protected override RecentTimes Of(PumpTimeline pump) => pump.DryTrips;

    protected override FindingText Words(in RuleContext context, string pump, string counted) => new(
        $"Pump {pump} keeps stopping because no water comes.", [counted],
        ["See whether the sump has water and whether the public supply ran.", "If the sump is full, have the suction, the foot valve and the inlet detector checked."],
        Cautions.PumpAndSump);
}

/// <summary>The supply voltage keeps stopping the pump.</summary>
internal sealed class VoltageTrips : Trips
{
    public override FindingKind Kind => FindingKind.VoltageTrips;
    public override Priority Priority => Priority.Medium;
    protected override int RaiseAt => 3;
    protected override int ClearAt => 1;
    protected override RecentTimes Of(PumpTimeline pump) => pump.VoltageTrips;

    protected override FindingText Words(in RuleContext context, string pump, string counted) => new(
        $"The supply voltage keeps stopping pump {pump}.", [counted],
        ["Note the hours of the trips and report them to the electricity supplier.", "Have a licensed electrician measure the voltage at the pump, at rest and running, and check the joints and the cable."],
        Cautions.Pump);
}

/// <summary>Overload keeps stopping the pump. Never "reset and try again".</summary>
internal sealed class OverloadTrips : Trips
{
    public override FindingKind Kind => FindingKind.OverloadTrips;
    public override Priority Priority => Priority.High;
    protected override int RaiseAt => 2;
    protected override int ClearAt => 0;
    protected override RecentTimes Of(PumpTimeline pump) => pump.OverloadTrips;

    protected override FindingText Words(in RuleContext context, string pump, string counted) => new(
        $"Pump {pump} was stopped for overload more than once: its motor is working too hard.", [counted],
        ["Leave the pump off and call the licensed person who looks after it.", "Have the motor, the capacitor, the impeller and the voltage checked."],
        [Cautions.Overload, Cautions.Electric]);
}
