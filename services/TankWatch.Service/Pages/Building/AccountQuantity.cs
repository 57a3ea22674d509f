using TankWatch.Core;
using TankWatch.Core.Periods;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;
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
        yield return Daily("account.used", mean => mean.UsedLitres, Litres);
        yield return Daily("account.person", mean => mean.UsedLitresPerPerson, Litres);
        yield return Daily("account.delivered", mean => mean.DeliveredLitres, Litres);
        yield return Daily("account.leak", mean => mean.LeakLitresPerHour, Leak);
        foreach (var tank in tanks)
        {
            yield return new(
                tanks.Count == 1 ? Words.Say("account.available") : Words.Say("account.available.of", ("tank", tank.Id.Value)),
                period => period.Tanks.FirstOrDefault(t => t.Tank == tank.Id)?.Availability is { } share ? Share(share) : null);
        }

        foreach (var pump in plan.Pumps)
        {
            yield return new(
                EnergyOf(pump, onePump),
                period => period.Pumps.FirstOrDefault(p => p.Pump == pump.Id) is { WattHoursPerCubicMetre: { } energy } figures ? Energy(energy, figures) : null);
        }

        yield return Daily(onePump ? "account.ran" : "account.ran.many", mean => mean.PumpHours, hours => (Amounts.Span(hours.Value * 3600), Amounts.Span(hours.Value * 3600)));
        yield return Daily("account.starts", mean => mean.Starts, starts => (Amounts.Of(EstimateJson.Of(starts, 1), 1), Amounts.Of(EstimateJson.Of(starts, 1), 1)));
        yield return new(Words.Say("account.accounted"), period => period.Known > 0 ? (Percent(period.Known), Percent(period.Known)) : null);
    }

    private static string EnergyOf(Pump pump, bool onePump)
    {
        var least = PumpPeriod.LeastOf(pump) is { } lifting ? Phrase.Of("account.energy.least", ("n", Math.Round(lifting))) : Phrase.Literal("");
        return onePump ? Words.Say("account.energy", ("least", least)) : Words.Say("account.energy.of", ("pump", pump.Id.Value), ("least", least));
    }

    private static AccountQuantity Daily(string key, Func<MeanDay, DayMean?> of, Func<Estimate, (string Text, string Brief)> say) =>
        new(Words.Say(key), period => of(period.MeanDay) is { Of: var mean } ? say(mean) : null);

    private static (string Text, string Brief) Litres(Estimate litres) => (Amounts.Of(EstimateJson.Of(litres, 1)), Words.Number(litres.Value));

    /// <summary>What may as well be nothing is told by its bound alone.</summary>
    public static bool IsNone(Estimate leak) => leak.Low < 0.5;

    private static (string Text, string Brief) Leak(Estimate leak) => !IsNone(leak) ? Litres(leak) : (Words.Say("account.no-leak", ("n", Math.Ceiling(leak.High))), Words.Say("account.no-leak.brief", ("n", Math.Ceiling(leak.High))));

    /// <summary>Rounded down: 99.97 is not 100. Bounds where something was unheard.</summary>
    private static (string Text, string Brief) Share(Estimate share) =>
        (share.High - share.Low < 0.0005 ? Percent(share.Value) : $"{Percent(share.Value)}\n{Words.Say("amount.bounds", ("low", Percent(share.Low)), ("high", Percent(share.High)))}", Percent(share.Value));

    private static (string Text, string Brief) Energy(Estimate energy, PumpPeriod pump) => (
        Amounts.Of(EstimateJson.Of(energy, 1)) + (pump.IsImpossible ? "\n" + Words.Say("account.impossible") : ""),
        Words.Number(energy.Value));

    private static string Percent(double share) => Words.Say("amount.percent", ("n", Math.Floor(share * 1000) / 10));
}
