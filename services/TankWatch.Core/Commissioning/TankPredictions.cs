using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Sites;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Commissioning;

/// <summary>What its probes can and cannot tell of one tank.</summary>
internal static class TankPredictions
{
    /// <summary>
    /// What two probes, each 2.5 cm off its mark, make up together, as a share of a tank: 5 cm of a depth of 2 m, and of 1 m. Tanks of buildings are
    /// between (common practice, no source); the site file knows volumes alone.
    /// </summary>
    private const double DeepError = 0.025, ShallowError = 0.05;

    private const double SpoiltShare = 0.5;

    public static IEnumerable<Prediction?> Of(SitePlan plan, Tank tank) => [ProbeSpacing(tank), NightLeak(plan, tank)];

    private static Prediction? ProbeSpacing(Tank tank)
    {
        if (tank.Probes.Length < 2)
        {
            return tank.Role == TankRole.Sump ? null : new(
                PredictionKind.ProbeSpacing, null, tank.Id, null, "L", Outlook.Look,
                Phrase.Of("expect.one-probe", ("tank", tank.Id.Value)),
                Cautions.PumpAndTank);
        }

        var closest = Enumerable.Range(1, tank.Probes.Length - 1).MinBy(i => Gap(tank, i));
        var gap = Gap(tank, closest);
        double Litres(double error) => error * tank.Capacity.Value;
        var size = new Expected(Litres((DeepError + ShallowError) / 2), Litres(DeepError), Litres(ShallowError));
        var outlook = size.Low >= gap ? Outlook.Fault : size.High >= SpoiltShare * gap ? Outlook.Look : Outlook.Fine;
        var text = Phrase.Of(
            "expect.spacing", ("lower", closest), ("upper", closest + 1), ("tank", tank.Id.Value), ("gap", Practice.Number(gap)), ("low", Practice.Number(size.Low)),
            ("high", Practice.Number(size.High)));
        return new(
            PredictionKind.ProbeSpacing, null, tank.Id, size, "L", outlook, outlook switch
            {
                Outlook.Fine => text,
                Outlook.Look => Practice.Sentences(text, Phrase.Of("expect.spacing.look")),
                _ => Practice.Sentences(text, Phrase.Of("expect.spacing.fault")),
            },
            outlook == Outlook.Fine ? [] : tank.Role == TankRole.Sump ? Cautions.PumpAndSump : Cautions.PumpAndTank);
    }

    /// <summary>
    /// The smallest leak that one quiet night shows for certain: the surface may stand just below a probe and has to reach the next, and what it falls by has to
    /// be told from what people draw.
    /// </summary>
    private static Prediction? NightLeak(SitePlan plan, Tank tank)
    {
        if (tank.Role == TankRole.Sump || tank.Probes.Length < 2)
        {
            return null;
        }

        var widest = Enumerable.Range(1, tank.Probes.Length - 1).Max(i => Gap(tank, i));
        var drawn = plan.Residents is { } people ? Demand.NightLitresPerHour(people) : 0;
        var size = Practice.OfBand(Math.Max(Demand.SmallestCrossing(new(widest), Demand.QuietWindow), drawn));
        var lift = plan.Pumps.FirstOrDefault(pump => pump.To.Contains(tank.Index))?.StaticLiftMetres;
        (string, PhraseValue)[] about = [("span", Practice.Lasting(Demand.QuietWindow)), ("tank", tank.Id.Value), ("litres", Practice.Number(size.Value))];
        Phrase[] said =
        [
            lift is { } head ? Phrase.Of("expect.night.hole", [.. about, ("size", Practice.Number(Orifice.HoleMillimetres(size.Value, head)))]) : Phrase.Of("expect.night", about),
            Phrase.Of("expect.night.smaller", ("litres", Practice.Number(Demand.RunningToiletLitresPerHour))),
            .. drawn > 0 ? [Phrase.Of("expect.night.drawn", ("people", plan.Residents!.Value), ("litres", Practice.Number(drawn)))] : Array.Empty<Phrase>(),
        ];
        return new(PredictionKind.NightLeak, null, tank.Id, size, "L/h", Outlook.Fine, Practice.Sentences(said), []);
    }

    /// <summary>Litres between probe <paramref name="upper"/> and the one below it.</summary>
    private static double Gap(Tank tank, int upper) => tank.Probes[upper].Volume.Value - tank.Probes[upper - 1].Volume.Value;
}
