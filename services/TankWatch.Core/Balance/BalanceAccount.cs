using TankWatch.Core.Sites;

namespace TankWatch.Core.Balance;

/// <summary>What passages amount to in litres, and what is to be expected of hours to come.</summary>
internal static class BalanceAccount
{
    /// <summary>Share of the normal distribution beyond which a twentieth lies on either side.</summary>
    public const double Ninety = 1.645;

    /// <returns>What left the tank; null while the delivery is not known.</returns>
    public static Accounted? Of(TankBalance balance, int index, in Passage passage, Tank tank)
    {
        var gain = tank.Probes[passage.To].Volume.Value - tank.Probes[passage.From].Volume.Value;
        var crossing = BalanceModel.CrossingSpread * tank.Capacity.Value;
        if (passage.OnHours == 0)
        {
            return new(index, passage, Math.Max(0, -gain), 0, 2 * crossing * crossing);
        }

        if (balance.Filter is not { } filter || passage.LowVoltage)
        {
            return null;
        }

        var (delivered, common) = Delivered(filter, balance.Doubt, passage.On);
        var own = BalanceModel.RunSpread * delivered;
        return new(index, passage, Math.Max(0, delivered - gain), common, (own * own) + (2 * crossing * crossing));
    }

    /// <summary>Litres that came in, and their spread as far as the deliveries are not known.</summary>
    public static (double Litres, double Spread) Delivered(BalanceFilter filter, double scale, in Inflows on)
    {
        var (litres, variance) = (0.0, 0.0);
        for (var a = 0; a < filter.Columns; a++)
        {
            litres += on[a] * filter.Mean[BalanceFilter.Inflow + a];
            for (var b = 0; b < filter.Columns; b++)
            {
                variance += on[a] * on[b] * filter.At(BalanceFilter.Inflow + a, BalanceFilter.Inflow + b);
            }
        }

        return (litres, Math.Sqrt(Math.Max(0, scale * variance)));
    }

    /// <summary>Water that will leave between two moments, a found leak included: litres and variance.</summary>
    public static (double Litres, double Variance) Leaving(TankBalance balance, TimeZoneInfo zone, DateTimeOffset from, DateTimeOffset to)
    {
        var filter = balance.Filter!;
        var (use, level, leveling) = (Use(filter, zone, from, to), BalanceChanges.Level(filter), filter.Spread(BalanceFilter.Slow) + filter.Spread(BalanceFilter.Fast));
        var hours = (to - from).TotalHours;
        var leak = (filter.Mean[BalanceFilter.Leak] + filter.Mean[BalanceFilter.BackDrain]) * hours;
        var drawn = use * Math.Max(BalanceModel.LowestLevel, 1 + level);
        var spread = drawn * Math.Min(1, leveling);
        return (Math.Max(0, drawn + leak), balance.Doubt * (BalanceModel.DrawLitres * drawn) + (spread * spread));
    }

    /// <summary>What people usually draw between two moments, litres, at their usual level.</summary>
    public static double Use(BalanceFilter filter, TimeZoneInfo zone, DateTimeOffset from, DateTimeOffset to)
    {
        var (use, least) = (0.0, BalanceModel.LowestHour * filter.MeanUse);
        foreach (var part in new LocalHours(zone, from, to))
        {
            var factor = part.IsWeekend ? Math.Max(0, 1 + filter.Mean[BalanceFilter.WeekendOf(part.Hour)]) : 1;
            use += Math.Max(filter.Mean[part.Hour], least) * factor * part.Length;
        }

        return use;
    }
}
