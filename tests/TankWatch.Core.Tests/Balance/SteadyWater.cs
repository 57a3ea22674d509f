using TankWatch.Core.Sites;

namespace TankWatch.Core.Tests.Balance;

/// <summary>
/// CHECKS A2 and A3 [D]: a roof tank of four probes, 300 L apart, with flows as given to the second: filled from the lowest probe to the highest.
/// </summary>
internal static class SteadyWater
{
    public static readonly SitePlan Plan = Plans.Bore([300, 600, 900, 1200], capacity: 1500);

    private const int Band = 300, Probes = 4;

    /// <param name="end">As in <see cref="Scenario.TimeOf"/>.</param>
    /// <param name="drawn">Litres per hour that leave at a time, people's and leaks.</param>
    /// <param name="delivered">Litres per hour that come while the pump runs.</param>
    public static Outcome Lived(string end, Func<TimeSpan, double> drawn, Func<TimeSpan, double> delivered)
    {
        var (litres, running, seconds) = (1200.0, false, (Scenario.TimeOf(end) - Scenario.Midnight).TotalSeconds);
        var (day, wet) = (Scenario.Of(Plan).At("00:00").Tank("roof", "1111").Stop(), Probes);
        for (var second = 1; second < seconds; second++)
        {
            var at = TimeSpan.FromSeconds(second);
            litres += ((running ? delivered(at) : 0) - drawn(at)) / 3600;
            if ((int)(litres / Band) == wet)
            {
                continue;
            }

            wet += running ? 1 : -1;
            day.At(Scenario.Clock(Scenario.Midnight + at)).Tank("roof", new string('1', wet).PadRight(Probes, '0'));
            if (wet is 0 or Probes)
            {
                running = wet == 0;
                _ = running ? day.Start() : day.Stop();
            }
        }

        return day.Until(end);
    }
}
