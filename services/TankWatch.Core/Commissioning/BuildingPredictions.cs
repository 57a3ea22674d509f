using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Commissioning;

/// <summary>Storage held against the people who live on it; nothing without their number.</summary>
internal static class BuildingPredictions
{
    /// <summary>Starts a day: 2 to 8 are usual (common practice, no source).</summary>
    private const double MostUsualStarts = 8;

    /// <summary>Half a day, as a building under an intermittent supply stores in its sump (common practice, no source).</summary>
    private const double LeastSumpHours = 12;

    private static readonly PhraseNumber PerPerson = Practice.Number(Demand.LitresPerPersonADay);

    public static IEnumerable<Prediction?> Of(SitePlan plan)
    {
        if (plan.Residents is not { } people)
        {
            return [];
        }

        var use = Demand.LitresPerHour(people);
        List<Tank> overhead = [.. plan.Tanks.Where(tank => tank is { Role: TankRole.Overhead, Probes.IsEmpty: false })];
        List<Tank> sumps = [.. plan.Tanks.Where(tank => tank.Role == TankRole.Sump)];
        return
        [
            overhead.Count == 0 ? null : Storage(plan, overhead, people, use), overhead.Count == 0 ? null : TimeWithoutPump(overhead, people, use),
            sumps.Count == 0 ? null : SumpStorage(sumps, people, use),
        ];
    }

    private static Prediction? Storage(SitePlan plan, List<Tank> tanks, int people, double use)
    {
        var band = new Litres(tanks.Sum(tank => Practice.BandOf(tank).Value));
        if (band.Value <= 0)
        {
            return null;
        }

        var size = Practice.OfBand(band.Value / use);
        var starts = 24 / Between(plan, band, use).TotalHours;
        var outlook = starts > MostUsualStarts ? Outlook.Look : Outlook.Fine;
        var text = Phrase.Of("expect.storage", ("people", people), ("span", Hours(size.Value)), ("each", PerPerson), ("fills", Practice.Number(starts)));
        return new(
            PredictionKind.Storage, null, null, size, "h", outlook,
            outlook == Outlook.Fine ? text : Practice.Sentences(text, Phrase.Of("expect.storage.wear", ("n", MostUsualStarts))),
            outlook == Outlook.Fine ? [] : Cautions.PumpAndTank);
    }

    /// <summary>From one fill to the next at the mean use; where the delivery is not known, or several pumps share the work, the fill itself is left out.</summary>
    private static TimeSpan Between(SitePlan plan, Litres band, double use)
    {
        var drawn = new LitresPerMinute(use / 60);
        return plan.Pumps is [{ RatedDelivery: { } rated }] && Practice.UsualShare * rated.Value > drawn.Value
            ? Cycle.Whole(band, new(Practice.UsualShare * rated.Value), drawn)
            : Cycle.Span(band.Value / drawn.Value);
    }

    private static Prediction TimeWithoutPump(List<Tank> tanks, int people, double use)
    {
        Litres Usable(Func<Tank, Litres> at) => new(tanks.Sum(tank => Math.Max(0, at(tank).Value - tank.FireReserve.Value)));
        var (low, high) = Demand.HoursToEmpty(Usable(tank => tank.Probes[0].Volume), Usable(tank => tank.Probes[^1].Volume), use);
        var within = tanks.Find(tank => tank.FireReserve.Value >= tank.Probes[0].Volume.Value);
        (string, PhraseValue)[] about = [("people", people), ("low", Hours(low)), ("each", PerPerson)];
        var text = high > low ? Phrase.Of("expect.without-pump.full", [.. about, ("high", Hours(high))]) : Phrase.Of("expect.without-pump", about);
        return new(
            PredictionKind.TimeWithoutPump, null, null, new(low, low, high), "h", within is null ? Outlook.Fine : Outlook.Look,
            within is null ? text : Practice.Sentences(text, Phrase.Of("expect.without-pump.reserve", ("tank", within.Id.Value))),
            within is null ? [] : Cautions.PumpAndTank);
    }

    private static Prediction SumpStorage(List<Tank> sumps, int people, double use)
    {
        // Below the cut-out no pump reaches; a float valve may or may not let the water rise above the highest probe.
        static double Lost(Tank sump) => Math.Max(sump.FireReserve.Value, sump.Probes.IsEmpty ? 0 : sump.Probes[0].Volume.Value);
        static double Top(Tank sump) => sump.Probes.Length < 2 ? sump.Capacity.Value : sump.Probes[^1].Volume.Value;
        Litres Usable(Func<Tank, double> at) => new(sumps.Sum(sump => Math.Max(0, at(sump) - Lost(sump))));
        var (low, high) = Demand.HoursToEmpty(Usable(Top), Usable(sump => sump.Capacity.Value), use);
        var outlook = low < LeastSumpHours ? Outlook.Look : Outlook.Fine;
        var text = Phrase.Of("expect.sump", ("people", people), ("span", Practice.Between(Cycle.Span(60 * low), Cycle.Span(60 * high))), ("each", PerPerson));
        return new(
            PredictionKind.SumpStorage, null, null, new(low, low, high), "h", outlook,
            outlook == Outlook.Fine ? text : Practice.Sentences(text, Phrase.Of("expect.sump.little")), []);
    }

    private static Phrase Hours(double hours) => Practice.Lasting(Cycle.Span(60 * hours));
}
