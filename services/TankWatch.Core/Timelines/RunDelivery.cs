using TankWatch.Core.Balance;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Timelines;

/// <summary>What one run delivered a minute, and which part of the doubt it shares with other runs.</summary>
/// <param name="Common">With the doubt that all runs share. Litres per minute.</param>
/// <param name="Own">Spread of this run about the others, litres per minute.</param>
internal readonly record struct RunFlow(Estimate Common, double Own)
{
    /// <summary>With all doubt.</summary>
    public Estimate Total => Widened(Common, Own * Own);

    /// <returns>Null when nothing tells.</returns>
    public static RunFlow? Of(RunInProgress run, Pump pump, SiteTimeline timeline, SitePlan plan, DateTimeOffset at) =>
        RunBalance.Of(run, pump, timeline, plan, at) ?? (RunDelivery.Of(run, pump, timeline, plan) is { } early ? new(early, 0) : null);

    /// <summary>Bounds moved apart by an independent doubt of this variance.</summary>
    public static Estimate Widened(Estimate estimate, double variance)
    {
        var own = BalanceAccount.Ninety * BalanceAccount.Ninety * variance;
        return new(
            estimate.Value,
            estimate.Value - Math.Sqrt(Math.Max(0, Math.Pow(estimate.Value - estimate.Low, 2) + own)),
            estimate.Value + Math.Sqrt(Math.Max(0, Math.Pow(estimate.High - estimate.Value, 2) + own)));
    }

    /// <summary>Without such a doubt, which is part of it.</summary>
    public static Estimate Narrowed(Estimate estimate, double variance) => Widened(estimate, -variance);
}

/// <summary>What one run delivered, from the probes that rose during it and the draw seen before it, as long as little was learnt.</summary>
/// <remarks>
/// Between two rises the tank gains delivery less draw, so delivery = gain ÷ time + draw. The draw during a fill is not seen; the
/// newest one seen with the pumps at rest stands in, and may be anything from a third of it to twice that.
/// </remarks>
internal static class RunDelivery
{
    // Probes sit ±2 to 3 cm off: 3 to 5 % of a usual band (common practice, no source).
    private const double BandError = 0.04;
    private const double DrawLow = 0.3;
    private const double DrawHigh = 2.0;

    /// <returns>Litres per minute; null when no two probes rose, or no draw was seen yet.</returns>
    public static Estimate? Of(RunInProgress run, Pump pump, SiteTimeline timeline, SitePlan plan)
    {
        Estimate? sum = null;
        for (var slot = 0; slot < pump.To.Length; slot++)
        {
            var tank = plan.Tanks[pump.To[slot]];
            if (run.Rises[slot] is not { } rise)
            {
                // A tank that was full all along is shut off by its float valve and takes nothing.
                if (timeline.Tanks[tank.Index].FullSince is { } since && since <= run.StartedAt)
                {
                    continue;
                }

                return null;
            }

            if (Into(tank, rise, run.DrawBefore[slot]) is not { } delivery)
            {
                return null;
            }

            sum = sum is { } others ? others + delivery : delivery;
        }

        return sum;
    }

    private static Estimate? Into(Tank tank, Rise rise, double? draw)
    {
        var minutes = (rise.Newest.At - rise.First.At).TotalMinutes;
        if (rise.Newest.Probe <= rise.First.Probe || minutes <= 0 || draw is not { } drawn)
        {
            return null;
        }

        var gain = (tank.Probes[rise.Newest.Probe].Volume.Value - tank.Probes[rise.First.Probe].Volume.Value) / minutes;
        return new(gain + drawn, (gain * (1 - BandError)) + (drawn * DrawLow), (gain * (1 + BandError)) + (drawn * DrawHigh));
    }
}
