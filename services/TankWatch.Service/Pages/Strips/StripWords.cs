using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Pages.Strips;

/// <summary>What each mark of a strip says.</summary>
/// <param name="zone">The building's.</param>
/// <param name="day">The only times of which a clock alone tells enough; null where none does.</param>
public sealed class StripWords(TimeZoneInfo zone, StripWindow? day)
{
    public string Say(Tank tank, WaterStretch water)
    {
        var (id, from, to) = (tank.Id.Value, At(water.From), At(water.To));
        return (water.Low, water.High) switch
        {
            (0, var high) => Words.Say("strip.water.below", ("tank", id), ("high", Math.Round(high)), ("from", from), ("to", to)),
            var (low, high) when high >= tank.Capacity.Value => Words.Say("strip.water.full", ("tank", id), ("low", Math.Round(low)), ("from", from), ("to", to)),
            var (low, high) => Words.Say("strip.water", ("tank", id), ("amount", Words.Between(low, high)), ("from", from), ("to", to)),
        };
    }

    public string Say(Pump pump, RunMark run)
    {
        var (id, from, to) = (pump.Id.Value, At(run.From), At(run.To));
        return run switch
        {
            { Runs: > 1 } => Words.Say("strip.runs", ("pump", id), ("n", run.Runs), ("span", Words.LastingOf(run.Lasted)), ("from", from), ("to", to)),
            { Running: true } => Words.Say(run.Manual ? "strip.running.by-hand" : "strip.running", ("pump", id), ("from", from)),
            { Litres: { } litres } => Words.Say(
                run.Manual ? "strip.run.by-hand.litres" : "strip.run.litres", ("pump", id), ("span", Words.LastingOf(run.To - run.From)), ("from", from), ("to", to),
                ("low", Math.Round(litres.Low)), ("high", Math.Round(litres.High))),
            _ => Words.Say(run.Manual ? "strip.run.by-hand" : "strip.run", ("pump", id), ("span", Words.LastingOf(run.To - run.From)), ("from", from), ("to", to)),
        };
    }

    public string Say(Pump pump, TripMark trip) => Words.Say(
        trip.Cause switch
        {
            PumpCause.DryRun => "strip.trip.dry-run",
            PumpCause.UnderVoltage => "strip.trip.under-voltage",
            PumpCause.OverVoltage => "strip.trip.over-voltage",
            PumpCause.Overload => "strip.trip.overload",
            PumpCause.Power => "strip.trip.power",
            _ => "strip.trip.protection",
        },
        ("pump", pump.Id.Value), ("at", At(trip.At)));

    public string Say(AlertMark alert) => alert.Open
        ? Words.Say("strip.alert.open", ("summary", alert.Summary), ("from", At(alert.From)))
        : Words.Say("strip.alert.over", ("summary", alert.Summary), ("from", At(alert.From)), ("to", At(alert.To)));

    public string Unknown(string device, Stretch gap) => Words.Say("strip.unknown", ("device", device), ("from", At(gap.From)), ("to", At(gap.To)));

    public string Supply(Stretch hours) => Words.Say("strip.supply", ("from", At(hours.From)), ("to", At(hours.To)));

    public string Clock(DateTimeOffset at) => Words.Say(At(at));

    private Phrase At(DateTimeOffset at) =>
        Phrase.Of(day is { } near && at >= near.From && at <= near.To ? "near.today" : "strip.at", ("at", PhraseMoment.In(zone, at)));
}
