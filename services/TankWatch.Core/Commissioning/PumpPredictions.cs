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

    private const string AsAssumed = " (assumed: the site file does not say)";

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
            $"With {Practice.Number(watts)} W over a lift of {Practice.Number(lift)} m, pump {pump.Id} should deliver {Practice.Number(size.Low)} to {Practice.Number(size.High)} litres a minute; "
            + $"more than {Practice.Number(Math.Ceiling(With(1)))} is impossible.{verdict}");
    }

    private static (Outlook Outlook, string Text) Rating(Pump pump, double watts, double lift)
    {
        if (pump.RatedDelivery is not { } rated)
        {
            return (Outlook.Fine, "");
        }

        // What is called impossible rests on the lift alone and on the lightest water; friction rests on a riser no longer than the lift.
        if (Lifting.Watts(rated, lift, Water.Density(Water.WarmestCelsius)) > watts)
        {
            return (Outlook.Fault, $" Its rating of {Practice.Number(rated.Value)} is more than this power can lift: the power, the lift or the rating in the site file is wrong.");
        }

        Riser? riser = pump.Riser is { } volume ? new(volume, lift) : null;
        var head = lift + (riser?.FrictionMetres(rated, Riser.SmoothestRoughness) ?? 0);
        var efficiency = Lifting.Watts(rated, head, Water.Density(Water.UsualCelsius)) / watts;
        if (efficiency <= Practice.MostEfficiency)
        {
            return (Outlook.Fine, $" Its rating of {Practice.Number(rated.Value)} can be true.");
        }

        var through = riser is { } pipe ? $" through a riser about {Practice.Number(pipe.Diameter * 1000)} mm wide" : "";
        return (
            Outlook.Look, $" Its rating of {Practice.Number(rated.Value)}{through} is doubtful: at that rate the water alone would take {Practice.Number(efficiency * watts)} of its {Practice.Number(watts)} W, and sets of this kind put at most six tenths of their power into it."
            + " Check power, lift, riser and rating in the site file.");
    }

    private static Prediction? FillTime(Pump pump, Tank tank)
    {
        var band = Practice.BandOf(tank);
        if (pump.RatedDelivery is not { } rated || band.Value <= 0)
        {
            return null;
        }

        var (size, outlook) = Run(pump, band, rated);
        var text = $"Pump {pump.Id} should fill {tank.Id} from its lowest to its highest probe in {Lasting(size)}, and takes longer while much water is used.";
        return Say(
            PredictionKind.FillTime, pump, tank, size, "min", outlook,
            text + TooShort(pump, outlook, "the probes are too close together; have the lowest set lower or the highest set higher"), Cautions.PumpAndTank);
    }

    private static Prediction? RestartBand(SitePlan plan, Pump pump)
    {
        if (pump is not { From: { } from, RatedDelivery: { } rated } || plan.Tanks[from] is not { Probes: [var cutOut, var restart, ..] } sump)
        {
            return null;
        }

        var (size, outlook) = Run(pump, new(restart.Volume.Value - cutOut.Volume.Value), rated);
        var text = $"After a cut-out, what stands between the two lowest probes of {sump.Id} keeps pump {pump.Id} running for {Lasting(size)}.";
        return Say(
            PredictionKind.RestartBand, pump, sump, size, "min", outlook,
            text + TooShort(pump, outlook, "the two lowest probes of the sump are too close together; have the second one set higher"), Cautions.PumpAndSump);
    }

    /// <summary>How long a run over a band lasts, minutes, and whether the motor stands it.</summary>
    private static (Expected Size, Outlook Outlook) Run(Pump pump, Litres band, LitresPerMinute rated)
    {
        var size = Practice.OverDelivery(Cycle.Fill(band, rated).TotalMinutes);
        var shortest = pump.MinRun.TotalMinutes;
        return (size, size.High < shortest ? Outlook.Fault : size.Low < shortest ? Outlook.Look : Outlook.Fine);
    }

    private static string TooShort(Pump pump, Outlook outlook, string why) => outlook == Outlook.Fine
        ? ""
        : $" Its motor needs runs of {Practice.Lasting(pump.MinRun)}{(pump.MinRunAssumed ? AsAssumed : "")}: {(outlook == Outlook.Fault ? why : $"if it delivers all of its rating, {why}")}.";

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
        var often = size.High < 1
            ? $"no more often than every {Practice.Between(Cycle.Span(60 / size.High), Cycle.Span(60 / size.Low))}"
            : $"at most {Practice.Number(size.Low)} to {Practice.Number(size.High)} times an hour";
        var text = $"Use of water alone can start pump {pump.Id} {often}; its motor stands {Practice.Number(most)} starts an hour{(pump.MaxStartsAssumed ? AsAssumed : "")}.";
        return Say(
            PredictionKind.Starts, pump, null, size, "starts/h", outlook,
            outlook == Outlook.Fine
                ? text + " More starts than that come from the probes or the control, not from use."
                : $"{text} With {Practice.Number(Cycle.LeastBand(most, rated).Value)} litres or more between the lowest and the highest probe it would be safe; now there are {Practice.Number(band)}.",
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
        var text = $"When its riser has run empty, the water of pump {pump.Id} takes {Practice.Between(low, high)} to reach the tank. Its dry-run protection must wait longer than {Practice.Lasting(TimeSpan.FromSeconds(Math.Ceiling(high.TotalSeconds)))}, or it stops a healthy pump.";
        var outlook = high > LongestDryWait ? Outlook.Look : Outlook.Fine;
        return Say(
            PredictionKind.DryRunWait, pump, null, new(At(Practice.UsualShare).TotalSeconds, low.TotalSeconds, high.TotalSeconds), "s", outlook,
            outlook == Outlook.Fine ? text : $"{text} That is long for a pump that really is dry: have the non-return valve checked, for it keeps the riser full, and the riser's litres in the site file.")
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
            $"A cubic metre lifted by pump {pump.Id} should take {Practice.Number(size.Low)} to {Practice.Number(size.High)} Wh; less than {Practice.Number(Math.Floor(floor))} is impossible, and would mean wrong data.");
    }

    private static string Lasting(Expected minutes) => Practice.Between(Cycle.Span(minutes.Low), Cycle.Span(minutes.High));

    private static Prediction Say(
        PredictionKind kind, Pump pump, Tank? tank, Expected size, string unit, Outlook outlook, string text, ImmutableArray<Phrase> whenWrong = default) =>
        new(kind, pump.Id, tank?.Id, size, unit, outlook, text, outlook == Outlook.Fine || whenWrong.IsDefault ? [] : whenWrong);
}
