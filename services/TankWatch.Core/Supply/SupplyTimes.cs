using System.Numerics;
using TankWatch.Core.Sites;

namespace TankWatch.Core.Supply;

/// <summary>A span in which the supply should bring the sump's water to a probe, UTC.</summary>
internal readonly record struct SupplyWindow(DateTimeOffset From, DateTimeOffset To);

/// <summary>When the public supply is to be expected: as the site file says, else as learnt.</summary>
internal static class SupplyTimes
{
    /// <summary>The window that ends first of those that begin at or after a moment; null when none is known.</summary>
    /// <param name="plan">Whose supply hours go before what was learnt.</param>
    /// <param name="supply">What the sump taught.</param>
    /// <param name="at">UTC.</param>
    public static SupplyWindow? Next(SitePlan plan, SumpSupply supply, DateTimeOffset at)
    {
        SupplyWindow? first = null;
        if (plan.SupplyHours.IsEmpty && supply.Expected == 0)
        {
            return null;
        }

        var clock = Clock(plan, at);
        if (!plan.SupplyHours.IsEmpty)
        {
            foreach (var given in plan.SupplyHours)
            {
                first = Earlier(first, IsKept(plan, supply, given) ? After(at, clock, given.From.ToTimeSpan(), Length(given)) : null);
            }

            return first;
        }

        // Windows that are learnt are of one length: that which begins first ends first.
        var least = long.MaxValue;
        for (var hours = supply.Expected; hours != 0; hours &= hours - 1)
        {
            var from = (BitOperations.TrailingZeroCount(hours) - SumpSupply.WindowHours + 1 + DayReach.Hours) % DayReach.Hours;
            least = Math.Min(least, Wait(clock, TimeSpan.FromHours(from)).Ticks);
        }

        var begins = at.AddTicks(least);
        return new(begins, begins + TimeSpan.FromHours(SumpSupply.WindowHours));
    }

    /// <summary>When water may come next: now while it may be coming; null when nothing is known of the supply.</summary>
    public static DateTimeOffset? WaterFrom(SitePlan plan, SumpSupply? supply, DateTimeOffset at)
    {
        DateTimeOffset? first = null;
        foreach (var given in plan.SupplyHours)
        {
            var earlier = at - Length(given);
            var begins = After(earlier, Clock(plan, earlier), given.From.ToTimeSpan(), Length(given)).From;
            first = first is { } known && known < begins ? known : begins;
        }

        if (first is null && supply is { HasLearnt: true, Comes: not 0 and var comes })
        {
            var now = at + plan.TimeZone.GetUtcOffset(at);
            for (var ahead = 0; ahead < DayReach.Hours && first is null; ahead++)
            {
                first = (comes & (1 << ((now.Hour + ahead) % DayReach.Hours))) != 0 ? at.AddHours(ahead).AddMinutes(ahead == 0 ? 0 : -now.Minute) : null;
            }
        }

        return first < at ? at : first;
    }

    /// <summary>The probe that a supply should bring the water to.</summary>
    public static int ProbeOf(SitePlan plan, SumpSupply supply, int sump) => supply.Probe >= 0 ? supply.Probe : plan.Tanks[sump].Probes.Length - 1;

    /// <summary>Hours that are given count until the sump has shown that they bring it no visible rise.</summary>
    private static bool IsKept(SitePlan plan, SumpSupply supply, SupplyHours given)
    {
        if (!supply.HasLearnt)
        {
            return true;
        }

        var last = (int)Math.Ceiling((given.From.ToTimeSpan() + Length(given)).TotalHours) - 1;
        return supply.Probe >= 0 && supply.IsKept(supply.Probe, given.From.Hour, last);
    }

    private static TimeSpan Length(SupplyHours given) => given.To > given.From ? given.To.ToTimeSpan() - given.From.ToTimeSpan()
        : given.To.ToTimeSpan() - given.From.ToTimeSpan() + TimeSpan.FromDays(1);

    private static SupplyWindow? Earlier(SupplyWindow? a, SupplyWindow? b) => a is not { } x || (b is { } y && y.To < x.To) ? b : a;

    /// <summary>The time of day at the site. The zone's offset of that moment serves for the windows that follow.</summary>
    private static TimeSpan Clock(SitePlan plan, DateTimeOffset at) => (at.UtcDateTime + plan.TimeZone.GetUtcOffset(at)).TimeOfDay;

    /// <summary>The first window of a time of day that begins at or after a moment.</summary>
    private static SupplyWindow After(DateTimeOffset at, TimeSpan clock, TimeSpan timeOfDay, TimeSpan length)
    {
        var from = at + Wait(clock, timeOfDay);
        return new(from, from + length);
    }

    private static TimeSpan Wait(TimeSpan clock, TimeSpan timeOfDay) => timeOfDay < clock ? timeOfDay - clock + TimeSpan.FromDays(1) : timeOfDay - clock;
}
