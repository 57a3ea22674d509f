using System.Collections.Immutable;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Balance;

/// <summary>What is believed before anything was learnt: from the first passages alone, and widely.</summary>
internal static class BalanceStart
{
    private const double UseSpread = 1, InflowSpread = 0.3, SharedByHours = 3;

    /// <returns>Null when the passages show no draw or no fill.</returns>
    public static BalanceFilter? From(ImmutableArray<Passage> first, Tank tank, int columns)
    {
        var (drawn, resting, gained, filling) = (0.0, 0.0, 0.0, 0.0);
        foreach (var passage in first)
        {
            var gain = tank.Probes[passage.To].Volume.Value - tank.Probes[passage.From].Volume.Value;
            var on = passage.OnHours;
            if (on < 0.1 * passage.Hours)
            {
                (drawn, resting) = (drawn - gain, resting + passage.Hours);
            }
            else if (on > 0.9 * passage.Hours)
            {
                (gained, filling) = (gained + gain, filling + on);
            }
        }

        if (drawn <= 0 || gained <= 0 || resting <= 0 || filling <= 0)
        {
            return null;
        }

        return From(drawn / resting, (gained / filling) + (drawn / resting), tank, columns);
    }

    private static BalanceFilter From(double use, double inflow, Tank tank, int columns)
    {
        var filter = new BalanceFilter(columns, Math.Max(0, tank.Probes.Length - 2));
        for (var i = 0; i < BalanceModel.Hours; i++)
        {
            filter.Mean[i] = (float)use;
            for (var j = 0; j <= i; j++)
            {
                // All hours share the level, and neighbours are alike.
                var apart = Math.Min(i - j, BalanceModel.Hours - i + j);
                filter.At(i, j) = (float)(use * use * UseSpread * UseSpread * (0.3 + (0.7 * Math.Exp(-apart / SharedByHours))));
            }
        }

        for (var block = BalanceFilter.Weekend; block < BalanceFilter.Slow; block++)
        {
            filter.At(block, block) = (float)Math.Pow(BalanceModel.WeekendSpread, 2);
        }

        filter.At(BalanceFilter.Slow, BalanceFilter.Slow) = (float)Math.Pow(BalanceModel.SlowSpread, 2);
        filter.At(BalanceFilter.Fast, BalanceFilter.Fast) = (float)Math.Pow(BalanceModel.FastSpread, 2);
        var band = tank.Probes[^1].Volume.Value - tank.Probes[0].Volume.Value;
        for (var inner = 0; inner < tank.Probes.Length - 2; inner++)
        {
            filter.At(filter.Probe(inner), filter.Probe(inner)) = (float)Math.Pow(BalanceModel.ProbeSpread * band, 2);
        }

        for (var c = BalanceFilter.Inflow; c < BalanceFilter.Inflow + columns; c++)
        {
            filter.Mean[c] = (float)inflow;
            filter.At(c, c) = (float)Math.Pow(InflowSpread * inflow, 2);
        }

        return filter;
    }
}
