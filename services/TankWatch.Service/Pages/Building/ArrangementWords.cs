using System.Globalization;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Pages.Building;

/// <summary>One device of a building, as its site file describes it.</summary>
/// <param name="Name">"Sump sump", "Pump p1".</param>
/// <param name="Text">One or two sentences, up to the probes.</param>
/// <param name="Probes">From the lowest up; empty for a pump, a unit, or a tank without any.</param>
/// <param name="End">What follows the probes.</param>
/// <param name="Unit">A field unit's id, for a link; null for what is none.</param>
public sealed record ArrangementLine(string Name, string Text, IReadOnlyList<ArrangementProbe> Probes, string End, string? Unit = null);

/// <param name="Letter">"(a) " where the drawing has no room for the name; else empty.</param>
/// <param name="Name">As the installer calls it; may hold anything.</param>
/// <param name="Volume">"5 800 litres".</param>
public sealed record ArrangementProbe(string Letter, string Name, string Volume);

/// <summary>The arrangement of a building in words: the same that its drawings show.</summary>
internal static class ArrangementWords
{
    /// <summary>From the bottom up, as the water goes: sumps, pumps, overhead tanks; then the units.</summary>
    public static IReadOnlyList<ArrangementLine> Of(SitePlan plan) =>
    [
        .. plan.Tanks.Where(tank => tank.Role == TankRole.Sump).Select(tank => Of(plan, tank)),
        .. plan.Pumps.Select(pump => Of(plan, pump)),
        .. plan.Tanks.Where(tank => tank.Role == TankRole.Overhead).Select(tank => Of(plan, tank)),
        .. plan.Units.Select(unit => Of(plan, unit)),
    ];

    /// <summary>"a" for the lowest probe of a tank; a tank has at most eight.</summary>
    public static string Letter(int probe) => ((char)('a' + probe)).ToString();

    private static ArrangementLine Of(SitePlan plan, Tank tank)
    {
        var size = $"{Words.Number(tank.Capacity.Value)} litres";
        var reserve = tank.FireReserve.Value > 0 ? $" Of it {Words.Number(tank.FireReserve.Value)} litres are a fire reserve." : "";
        var letters = ArrangementDrawing.UsesLetters(plan, tank);
        return new(
            Named(tank),
            $"holds {size}{(tank.Probes.IsEmpty ? ". It has no probes." : ". Its probes, from the lowest:")}",
            [.. tank.Probes.Select((probe, i) => new ArrangementProbe(letters ? $"({Letter(i)}) " : "", probe.Name, $"{Words.Number(probe.Volume.Value)} litres"))],
            reserve + Unreported(plan.Units.Any(unit => unit.Tanks.Contains(tank.Index))));
    }

    private static ArrangementLine Of(SitePlan plan, Pump pump)
    {
        var from = pump.From is { } sump ? LowerFirst(Named(plan.Tanks[sump])) : "a bore, or a sump that nobody measures";
        var to = string.Join(" and ", pump.To.Select(tank => $"tank {plan.Tanks[tank].Id}"));
        var riser = pump.Riser is { } litres ? $" The riser holds {litres.Value.ToString("0.#", CultureInfo.InvariantCulture)} litres." : "";
        return new(
            $"Pump {pump.Id}", $"draws from {from} and fills {to}{(pump.To.Length > 1 ? ", which share one riser" : "")}.{riser}", [],
            Unreported(plan.Units.Any(unit => unit.Pumps.Contains(pump.Index))));
    }

    private static ArrangementLine Of(SitePlan plan, FieldUnit unit)
    {
        var devices = unit.Tanks.Select(tank => plan.Tanks[tank].Id.Value).Concat(unit.Pumps.Select(pump => plan.Pumps[pump].Id.Value)).ToList();
        return new("Field unit", devices.Count == 0 ? "reports no tank or pump." : $"reports {string.Join(", ", devices)}.", [], "", unit.Id.Value);
    }

    /// <summary>Most sumps are called just that.</summary>
    private static string Named(Tank tank) => tank.Role == TankRole.Overhead ? $"Overhead tank {tank.Id}" : tank.Id.Value == "sump" ? "The sump" : $"Sump {tank.Id}";

    private static string LowerFirst(string text) => char.ToLowerInvariant(text[0]) + text[1..];

    /// <summary>Who reports what stands with the units; that nobody does has to be said here.</summary>
    private static string Unreported(bool isReported) => isReported ? "" : " No unit reports it.";
}
