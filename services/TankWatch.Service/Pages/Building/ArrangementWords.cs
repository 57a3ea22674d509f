using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Pages.Building;

/// <summary>The arrangement of a building in words: the same that its drawings show.</summary>
internal static class ArrangementWords
{
    /// <summary>From the bottom up, as the water goes: sumps, pumps, overhead tanks; then the units.</summary>
    public static IReadOnlyList<ImmutableArray<Said>> Of(SitePlan plan) =>
    [
        .. plan.Tanks.Where(tank => tank.Role == TankRole.Sump).Select(tank => Of(plan, tank)),
        .. plan.Pumps.Select(pump => Of(plan, pump)),
        .. plan.Tanks.Where(tank => tank.Role == TankRole.Overhead).Select(tank => Of(plan, tank)),
        .. plan.Units.Select(unit => Of(plan, unit)),
    ];

    /// <summary>"a" for the lowest probe of a tank; a tank has at most eight.</summary>
    public static string Letter(int probe) => ((char)('a' + probe)).ToString();

    private static ImmutableArray<Said> Of(SitePlan plan, Tank tank)
    {
        var said = tank.Probes.IsEmpty
            ? Said.Of("arrangement.tank.no-probes", ("tank", Named(tank)), ("litres", Math.Round(tank.Capacity.Value)))
            : Said.Of("arrangement.tank.probes", ("tank", Named(tank)), ("litres", Math.Round(tank.Capacity.Value)), ("probes", Said.All(ProbesOf(plan, tank))));
        said = tank.FireReserve.Value > 0 ? Said.Both(said, Said.Of("arrangement.reserve", ("litres", Math.Round(tank.FireReserve.Value)))) : said;
        return plan.Units.Any(unit => unit.Tanks.Contains(tank.Index)) ? said : Unreported(said);
    }

    private static IEnumerable<Said> ProbesOf(SitePlan plan, Tank tank)
    {
        var letters = ArrangementDrawing.UsesLetters(plan, tank);
        for (var i = 0; i < tank.Probes.Length; i++)
        {
            var (name, litres) = (Said.Name(tank.Probes[i].Name), Math.Round(tank.Probes[i].Volume.Value));
            var said = letters
                ? Said.Of("arrangement.probe.lettered", ("letter", Letter(i)), ("name", name), ("litres", litres)) : Said.Of("arrangement.probe", ("name", name), ("litres", litres));
            foreach (var part in i == 0 ? said : [Words.Say("list.comma"), .. said])
            {
                yield return part;
            }
        }
    }

    private static ImmutableArray<Said> Of(SitePlan plan, Pump pump)
    {
        var from = pump.From is not { } sump ? Phrase.Of("arrangement.from.bore")
            : IsJustSump(plan.Tanks[sump]) ? Phrase.Of("arrangement.from.sump") : Phrase.Of("arrangement.from.sump.named", ("id", plan.Tanks[sump].Id.Value));
        var said = Said.Of(
            pump.To.Length > 1 ? "arrangement.pump.shared" : "arrangement.pump", ("pump", pump.Id.Value), ("from", from),
            ("to", PhraseList.Of(ListStyle.And, pump.To.Select(tank => Phrase.Of("arrangement.to.tank", ("id", plan.Tanks[tank].Id.Value))))));
        said = pump.Riser is { } litres ? Said.Both(said, Said.Of("arrangement.riser", ("litres", litres.Value))) : said;
        return plan.Units.Any(unit => unit.Pumps.Contains(pump.Index)) ? said : Unreported(said);
    }

    private static ImmutableArray<Said> Of(SitePlan plan, FieldUnit unit)
    {
        var devices = unit.Tanks.Select(tank => plan.Tanks[tank].Id.Value).Concat(unit.Pumps.Select(pump => plan.Pumps[pump].Id.Value)).Select(id => (PhraseValue)id).ToList();
        var link = new Said(unit.Id.Value, Address: $"/units/{unit.Id}");
        return devices.Count == 0
            ? Said.Of("arrangement.unit.none", ("unit", link)) : Said.Of("arrangement.unit", ("unit", link), ("devices", PhraseList.Of(ListStyle.Comma, devices)));
    }

    private static Phrase Named(Tank tank) => tank.Role == TankRole.Overhead ? Phrase.Of("arrangement.tank", ("id", tank.Id.Value))
        : IsJustSump(tank) ? Phrase.Of("arrangement.sump") : Phrase.Of("arrangement.sump.named", ("id", tank.Id.Value));

    /// <summary>Most sumps are called just that.</summary>
    private static bool IsJustSump(Tank tank) => tank.Id.Value == "sump";

    /// <summary>Who reports what stands with the units; that nobody does has to be said here.</summary>
    private static ImmutableArray<Said> Unreported(ImmutableArray<Said> said) => Said.Both(said, Said.Of("arrangement.unreported"));
}
