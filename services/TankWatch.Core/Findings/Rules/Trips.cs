using TankWatch.Core.Texts;
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
        var trips = Of(context.Timeline.Pumps[device]);
        var count = trips.CountWithin(Window, context.Now);
        var zone = context.Plan.TimeZone;
        var times = PhraseList.Of(ListStyle.Comma, trips.At.TakeLast(Math.Min(count, 5)).Select(at => PhraseMoment.In(zone, at)));
        return new(Words(context.Plan.Pumps[device].Id.Value, Phrase.Of("trips.evidence.count", ("count", count), ("times", times))));
    }

    protected abstract FindingText Words(string pump, Phrase counted);
}

/// <summary>The pump keeps stopping because no water comes.</summary>
internal sealed class RepeatedDryTrips : Trips
{
    public override FindingKind Kind => FindingKind.RepeatedDryTrips;
    public override Priority Priority => Priority.High;
    protected override int RaiseAt => 3;
    protected override int ClearAt => 1;
    protected override RecentTimes Of(PumpTimeline pump) => pump.DryTrips;

    protected override FindingText Words(string pump, Phrase counted) => new(
        Phrase.Of("repeated-dry-trips.summary", ("pump", pump)), [counted], Phrase.Each("repeated-dry-trips.advice.sump", "repeated-dry-trips.advice.suction"), Cautions.PumpAndSump);
}

/// <summary>The supply voltage keeps stopping the pump.</summary>
internal sealed class VoltageTrips : Trips
{
    public override FindingKind Kind => FindingKind.VoltageTrips;
    public override Priority Priority => Priority.Medium;
    protected override int RaiseAt => 3;
    protected override int ClearAt => 1;
    protected override RecentTimes Of(PumpTimeline pump) => pump.VoltageTrips;

    protected override FindingText Words(string pump, Phrase counted) => new(
        Phrase.Of("voltage-trips.summary", ("pump", pump)), [counted], Phrase.Each("voltage-trips.advice.hours", "voltage-trips.advice.measure"), Cautions.Pump);
}

/// <summary>Overload keeps stopping the pump. Never "reset and try again".</summary>
internal sealed class OverloadTrips : Trips
{
    public override FindingKind Kind => FindingKind.OverloadTrips;
    public override Priority Priority => Priority.High;
    protected override int RaiseAt => 2;
    protected override int ClearAt => 0;
    protected override RecentTimes Of(PumpTimeline pump) => pump.OverloadTrips;

    protected override FindingText Words(string pump, Phrase counted) => new(
        Phrase.Of("overload-trips.summary", ("pump", pump)), [counted], Phrase.Each("overload-trips.advice.off", "overload-trips.advice.check"), [Cautions.Overload, Cautions.Electric]);
}
