using TankWatch.Core.Findings.Rules;
using TankWatch.Core.Hydraulics;
using TankWatch.Core.Sites;

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
                $"One probe both starts and stops the filling of {tank.Id}: only its ripple keeps the starts apart, and how much water comes or goes cannot be told. Have a second one fitted.",
                Cautions.PumpAndTank);
        }

        var closest = Enumerable.Range(1, tank.Probes.Length - 1).MinBy(i => Gap(tank, i));
        var gap = Gap(tank, closest);
        double Litres(double error) => error * tank.Capacity.Value;
        var size = new Expected(Litres((DeepError + ShallowError) / 2), Litres(DeepError), Litres(ShallowError));
        var outlook = size.Low >= gap ? Outlook.Fault : size.High >= SpoiltShare * gap ? Outlook.Look : Outlook.Fine;
        var text = $"Probes {closest} and {closest + 1} of {tank.Id}, counted from the lowest, are the closest, {Practice.Number(gap)} litres apart. "
            + $"Where each may sit 2.5 cm off, {Practice.Number(size.Low)} to {Practice.Number(size.High)} litres of that are error.";
        return new(
            PredictionKind.ProbeSpacing, null, tank.Id, size, "L", outlook, outlook switch
            {
                Outlook.Fine => text,
                Outlook.Look => text + " That is much: check the litres of both in the site file, or have them set further apart.",
                _ => text + " They may even stand in the wrong order: have them set further apart.",
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
        var hole = lift is { } head ? $", as through a hole of {Practice.Number(Orifice.HoleMillimetres(size.Value, head))} mm at the foot of the building" : "";
        var night = drawn > 0 ? $" Of {plan.Residents} people some still draw about {Practice.Number(drawn)} litres an hour at night." : "";
        return new(
            PredictionKind.NightLeak, null, tank.Id, size, "L/h", Outlook.Fine,
            $"One quiet night of {Practice.Lasting(Demand.QuietWindow)} shows a leak from {tank.Id} of {Practice.Number(size.Value)} litres an hour or more{hole}. "
            + $"A smaller one takes several nights to tell; a lavatory that keeps running loses about {Practice.Number(Demand.RunningToiletLitresPerHour)}.{night}", []);
    }

    /// <summary>Litres between probe <paramref name="upper"/> and the one below it.</summary>
    private static double Gap(Tank tank, int upper) => tank.Probes[upper].Volume.Value - tank.Probes[upper - 1].Volume.Value;
}
