using System.Collections.Immutable;
using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Commissioning;

/// <summary>What rating, lift, riser and probes say of one pump.</summary>
internal static class PumpPredictions
{
    /// <summary>A seal that runs dry is harmed within tens of seconds to a few minutes (common practice, no source).</summary>
    private static readonly TimeSpan LongestDryWait = TimeSpan.FromSeconds(60);

    public static IEnumerable<Prediction?> Of(SitePlan plan, Pump pump) =>
        [Delivery(pump), .. pump.To.Select(tank => FillTime(pump, plan.Tanks[tank])), Starts(plan, pump), DryRunWait(pump), RestartBand(plan, pump), Energy(pump)];

    /// <summary>What the power can lift, and whether the rating can be true of it.</summary>
    private static Prediction? Delivery(Pump pump)
    {
        if (pump is not { RatedWatts: { } watts, StaticLiftMetres: { } lift })
        {
            return null;
        }

        var density = Water.Density(Water.UsualCelsius);
        double With(double efficiency) => Lifting.Delivery(watts, lift, efficiency, density).Value;
        var size = new Expected(0.6 * With(Practice.UsualEfficiency), Practice.LeastShare * With(Practice.LeastEfficiency), With(Practice.MostEfficiency));
        var (outlook, verdict) = Rating(pump, watts, lift);
        return Say(
            PredictionKind.Delivery, pump, null, size, "L/min", outlook,
            Practice.Sentences([
                Phrase.Of(
                    "expect.delivery", ("watts", Practice.Number(watts)), ("lift", Practice.Number(lift)), ("pump", pump.Id.Value), ("low", Practice.Number(size.Low)),
                    ("high", Practice.Number(size.High)), ("most", Practice.Number(Math.Ceiling(With(1))))),
                .. verdict]));
    }

    private static (Outlook Outlook, Phrase[] Said) Rating(Pump pump, double watts, double lift)
    {
        if (pump.RatedDelivery is not { } rated)
        {
            return (Outlook.Fine, []);
        }

        // What is called impossible rests on the lift alone and on the lightest water; friction rests on a riser no longer than the lift.
        if (Lifting.Watts(rated, lift, Water.Density(Water.WarmestCelsius)) > watts)
        {
            return (Outlook.Fault, [Phrase.Of("expect.rating.impossible", ("rated", Practice.Number(rated.Value)))]);
        }

        Riser? riser = pump.Riser is { } volume ? new(volume, lift) : null;
        var head = lift + (riser?.FrictionMetres(rated, Riser.SmoothestRoughness) ?? 0);
        var efficiency = Lifting.Watts(rated, head, Water.Density(Water.UsualCelsius)) / watts;
        if (efficiency <= Practice.MostEfficiency)
        {
            return (Outlook.Fine, [Phrase.Of("expect.rating.true", ("rated", Practice.Number(rated.Value)))]);
        }

        (string, PhraseValue)[] doubt = [("rated", Practice.Number(rated.Value)), ("needs", Practice.Number(efficiency * watts)), ("watts", Practice.Number(watts))];
        return (
            Outlook.Look,
            [riser is { } pipe ? Phrase.Of("expect.rating.doubtful.riser", [.. doubt, ("width", Practice.Number(pipe.Diameter * 1000))]) : Phrase.Of("expect.rating.doubtful", doubt)]);
    }

    private static Prediction? FillTime(Pump pump, Tank tank)
    {
        var band = Practice.BandOf(tank);
        if (pump.RatedDelivery is not { } rated || band.Value <= 0)
        {
            return null;
        }

        var (size, outlook) = Run(pump, band, rated);
        var text = Phrase.Of("expect.fill", ("pump", pump.Id.Value), ("tank", tank.Id.Value), ("span", Lasting(size)));
        return Say(
            PredictionKind.FillTime, pump, tank, size, "min", outlook,
            Practice.Sentences([text, .. TooShort(pump, outlook, "expect.short.tank", "expect.short.tank.if")]), Cautions.PumpAndTank);
    }

    private static Prediction? RestartBand(SitePlan plan, Pump pump)
    {
        if (pump is not { From: { } from, RatedDelivery: { } rated } || plan.Tanks[from] is not { Probes: [var cutOut, var restart, ..] } sump)
        {
            return null;
        }

        var (size, outlook) = Run(pump, new(restart.Volume.Value - cutOut.Volume.Value), rated);
        var text = Phrase.Of("expect.restart", ("sump", sump.Id.Value), ("pump", pump.Id.Value), ("span", Lasting(size)));
        return Say(
            PredictionKind.RestartBand, pump, sump, size, "min", outlook,
            Practice.Sentences([text, .. TooShort(pump, outlook, "expect.short.sump", "expect.short.sump.if")]), Cautions.PumpAndSump);
    }

    /// <summary>How long a run over a band lasts, minutes, and whether the motor stands it.</summary>
    private static (Expected Size, Outlook Outlook) Run(Pump pump, Litres band, LitresPerMinute rated)
    {
        var size = Practice.OverDelivery(Cycle.Fill(band, rated).TotalMinutes);
        var shortest = pump.MinRun.TotalMinutes;
        return (size, size.High < shortest ? Outlook.Fault : size.Low < shortest ? Outlook.Look : Outlook.Fine);
    }

    private static Phrase[] TooShort(Pump pump, Outlook outlook, string surely, string ifItDeliversAll) =>
        outlook == Outlook.Fine ? [] : [Phrase.Of(outlook == Outlook.Fault ? surely : ifItDeliversAll, ("span", Practice.Lasting(pump.MinRun)), ("assumed", Assumed(pump.MinRunAssumed)))];

    private static Phrase Assumed(bool isAssumed) => isAssumed ? Phrase.Of("expect.assumed") : Phrase.Literal("");

    private static Prediction? Starts(SitePlan plan, Pump pump)
    {
        var band = Asking.BandOf(plan, pump);
        if (pump.RatedDelivery is not { } rated || band <= 0)
        {
            return null;
        }

        double At(double share, double error) => Cycle.MostStartsPerHour(new(band * error), new(share * rated.Value));
        var size = new Expected(At(Practice.UsualShare, 1), At(Practice.LeastShare, 1 + Practice.BandError), At(Practice.MostShare, 1 - Practice.BandError));
        var most = pump.MaxStartsPerHour;
        var outlook = size.Low > most ? Outlook.Fault : size.High > most ? Outlook.Look : Outlook.Fine;
        (string, PhraseValue)[] about = [("pump", pump.Id.Value), ("most", Practice.Number(most)), ("assumed", Assumed(pump.MaxStartsAssumed))];
        var text = size.High < 1
            ? Phrase.Of("expect.starts.seldom", [.. about, ("span", Practice.Between(Cycle.Span(60 / size.High), Cycle.Span(60 / size.Low)))])
            : Phrase.Of("expect.starts", [.. about, ("low", Practice.Number(size.Low)), ("high", Practice.Number(size.High))]);
        return Say(
            PredictionKind.Starts, pump, null, size, "starts/h", outlook,
            Practice.Sentences(text, outlook == Outlook.Fine
                ? Phrase.Of("expect.starts.fine")
                : Phrase.Of("expect.starts.safe", ("litres", Practice.Number(Cycle.LeastBand(most, rated).Value)), ("now", Practice.Number(band)))),
            Cautions.PumpAndTank);
    }

    private static Prediction? DryRunWait(Pump pump)
    {
        if (pump is not { DryRunDetector: true, Riser: { } riser, RatedDelivery: { } rated })
        {
            return null;
        }

        TimeSpan At(double share) => Cycle.Fill(riser, new(share * rated.Value));
        var (low, high) = (At(Practice.MostShare), At(Practice.LeastShare));
        var text = Phrase.Of(
            "expect.dry-wait", ("pump", pump.Id.Value), ("span", Practice.Between(low, high)), ("wait", Practice.Lasting(TimeSpan.FromSeconds(Math.Ceiling(high.TotalSeconds)))));
        var outlook = high > LongestDryWait ? Outlook.Look : Outlook.Fine;
        return Say(
            PredictionKind.DryRunWait, pump, null, new(At(Practice.UsualShare).TotalSeconds, low.TotalSeconds, high.TotalSeconds), "s", outlook,
            outlook == Outlook.Fine ? text : Practice.Sentences(text, Phrase.Of("expect.dry-wait.long")))
            with { Cautions = Cautions.Pump }; // Fine or not, somebody sets the protection.
    }

    private static Prediction? Energy(Pump pump)
    {
        if (pump.StaticLiftMetres is not { } lift)
        {
            return null;
        }

        var usual = Lifting.EnergyFloor(lift, Water.Density(Water.UsualCelsius));
        // Wire to water, small sets in use reach 0.30 to 0.45 (common practice, no source).
        var size = new Expected(usual / 0.4, usual / Practice.UsualEfficiency, usual / 0.3);
        var floor = Lifting.EnergyFloor(lift, Water.Density(Water.WarmestCelsius));
        return Say(
            PredictionKind.Energy, pump, null, size, "Wh/m³", Outlook.Fine,
            Phrase.Of(
                "expect.energy", ("pump", pump.Id.Value), ("low", Practice.Number(size.Low)), ("high", Practice.Number(size.High)), ("least", Practice.Number(Math.Floor(floor)))));
    }

    private static Phrase Lasting(Expected minutes) => Practice.Between(Cycle.Span(minutes.Low), Cycle.Span(minutes.High));

    private static Prediction Say(
        PredictionKind kind, Pump pump, Tank? tank, Expected size, string unit, Outlook outlook, Phrase text, ImmutableArray<Phrase> whenWrong = default) =>
        new(kind, pump.Id, tank?.Id, size, unit, outlook, text, outlook == Outlook.Fine || whenWrong.IsDefault ? [] : whenWrong);
}
