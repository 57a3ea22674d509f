using TankWatch.Core;
using TankWatch.Core.Periods;
using TankWatch.Core.Sites;
using TankWatch.Service.Api.Contract;

namespace TankWatch.Service.Pages.Building;

/// <summary>A quantity that periods are compared by.</summary>
/// <param name="Name">As the table heads its row.</param>
/// <param name="Of">What is said of it with its bounds, and in brief; null when it is not known of a period.</param>
internal sealed record AccountQuantity(string Name, Func<SitePeriod, (string Text, string Brief)?> Of)
{
    /// <summary>What people ask for first comes first.</summary>
    public static IEnumerable<AccountQuantity> All(SitePlan plan)
    {
        var (onePump, tanks) = (plan.Pumps.Length == 1, plan.Tanks.Where(tank => tank.Role == TankRole.Overhead).ToList());
        yield return Daily("Used a day, litres", mean => mean.UsedLitres, Litres);
        yield return Daily("A person and day, litres", mean => mean.UsedLitresPerPerson, Litres);
        yield return Daily("Delivered a day, litres", mean => mean.DeliveredLitres, Litres);
        yield return Daily("Leak, litres an hour", mean => mean.LeakLitresPerHour, Leak);
        foreach (var tank in tanks)
        {
            yield return new(
                tanks.Count == 1 ? "Water above the lowest probe" : $"Water above the lowest probe of {tank.Id}",
                period => period.Tanks.FirstOrDefault(t => t.Tank == tank.Id)?.Availability is { } share ? Share(share) : null);
        }

        foreach (var pump in plan.Pumps)
        {
            var least = PumpPeriod.LeastOf(pump) is { } lifting ? $" (lifting alone takes {Words.Number(lifting)})" : "";
            yield return new(
                $"Energy{(onePump ? "" : $" of {pump.Id}")}, watt hours a cubic metre{least}",
                period => period.Pumps.FirstOrDefault(p => p.Pump == pump.Id) is { WattHoursPerCubicMetre: { } energy } figures ? Energy(energy, figures) : null);
        }

        yield return Daily(onePump ? "Pump ran a day" : "Pumps ran a day", mean => mean.PumpHours, hours => (Amounts.Span(hours.Value * 3600), Amounts.Span(hours.Value * 3600)));
        yield return Daily("Starts a day", mean => mean.Starts, starts => (Amounts.Of(EstimateJson.Of(starts, 1), 1), Amounts.Of(EstimateJson.Of(starts, 1), 1)));
        yield return new("Accounted for by probes passed", period => period.Known > 0 ? (Percent(period.Known), Percent(period.Known)) : null);
    }

    /// <summary>"no leak above 14 L/h, 95 % sure".</summary>
    /// <param name="bound">Of which <see cref="IsNone"/> holds.</param>
    /// <param name="unit">Of the bound.</param>
    public static string NoLeak(Estimate bound, string unit) => $"no leak above {Words.Number(Math.Ceiling(bound.High))} {unit}, 95 % sure";

    private static AccountQuantity Daily(string name, Func<MeanDay, DayMean?> of, Func<Estimate, (string Text, string Brief)> say) =>
        new(name, period => of(period.MeanDay) is { Of: var mean } ? say(mean) : null);

    private static (string Text, string Brief) Litres(Estimate litres) => (Amounts.Of(EstimateJson.Of(litres, 1)), Words.Number(litres.Value));

    /// <summary>What may as well be nothing is told by its bound alone.</summary>
    public static bool IsNone(Estimate leak) => leak.Low < 0.5;

    private static (string Text, string Brief) Leak(Estimate leak) => !IsNone(leak) ? Litres(leak) : (NoLeak(leak, "L/h"), $"none above {Words.Number(Math.Ceiling(leak.High))}");

    /// <summary>Rounded down: 99.97 is not 100. Bounds where something was unheard.</summary>
    private static (string Text, string Brief) Share(Estimate share) =>
        (share.High - share.Low < 0.0005 ? Percent(share.Value) : $"{Percent(share.Value)}\n({Percent(share.Low)} to {Percent(share.High)})", Percent(share.Value));

    private static (string Text, string Brief) Energy(Estimate energy, PumpPeriod pump) => (
        Amounts.Of(EstimateJson.Of(energy, 1)) + (pump.IsImpossible ? "\nno pump can: the power, the lift or the probes' volumes in the site file are wrong" : ""),
        Words.Number(energy.Value));

    private static string Percent(double share) => string.Create(System.Globalization.CultureInfo.InvariantCulture, $"{Math.Floor(share * 1000) / 10:0.#} %");
}
