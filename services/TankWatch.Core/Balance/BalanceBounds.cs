namespace TankWatch.Core.Balance;

/// <summary>How large a leak is, or could be without having been seen.</summary>
internal static class BalanceBounds
{
    /// <returns>
    /// Litres per hour. With a leak found its size; else 0, with the bound below which one could hide (95 % sure). Null while too little was learnt.
    /// </returns>
    public static Estimate? Leak(TankBalance balance)
    {
        if (balance.Filter is not { } filter)
        {
            return null;
        }

        if (balance.Outflow is not null)
        {
            var (size, half) = (Math.Max(0, filter.Mean[BalanceFilter.Leak]), BalanceAccount.Ninety * Math.Sqrt(balance.Scale) * filter.Spread(BalanceFilter.Leak));
            return new(size, Math.Max(0, size - half), size + half);
        }

        return Hidden(balance) is { } bound ? new(0, 0, bound) : null;
    }

    /// <summary>Of a leak that began a week ago or earlier: what the passages since then still leave possible.</summary>
    private static double? Hidden(TankBalance balance)
    {
        double? bound = null;
        foreach (var onset in balance.Onsets)
        {
            if (onset.Weight(Change.Leak) > 0)
            {
                var (_, size, spread) = Weighing.One(onset, Change.Leak, balance.Filter!, balance.Scale);
                var high = Math.Max(0, size) + (BalanceAccount.Ninety * spread);
                bound = bound is { } known ? Math.Min(known, high) : high;
            }
        }

        return bound;
    }
}
