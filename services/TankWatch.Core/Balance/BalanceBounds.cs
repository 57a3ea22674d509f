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

        if (balance.Outflow is { } found)
        {
            return found.Change == Change.BackDrain ? new(0, 0, Bound(filter, balance.Doubt)) : Size(filter, balance.Doubt);
        }

        return Hidden(balance) is { } bound ? new(0, 0, bound) : null;
    }

    /// <summary>What leaves at all hours, given that nothing drains back.</summary>
    private static Estimate Size(BalanceFilter filter, double scale)
    {
        var (leak, back) = (filter.At(BalanceFilter.Leak, BalanceFilter.Leak), filter.At(BalanceFilter.BackDrain, BalanceFilter.BackDrain));
        var both = filter.At(BalanceFilter.Leak, BalanceFilter.BackDrain);
        var share = back > 0 ? both / back : 0;
        var size = Math.Max(0, filter.Mean[BalanceFilter.Leak] - (share * filter.Mean[BalanceFilter.BackDrain]));
        var half = BalanceAccount.Ninety * Math.Sqrt(Math.Max(0, scale * (leak - (share * both))));
        return new(size, Math.Max(0, size - half), size + half);
    }

    private static double Bound(BalanceFilter filter, double scale) =>
        Math.Max(0, filter.Mean[BalanceFilter.Leak]) + (BalanceAccount.Ninety * Math.Sqrt(scale) * filter.Spread(BalanceFilter.Leak));

    /// <summary>Of a leak that began two days ago or earlier: the most that the passages since then still leave possible.</summary>
    private static double? Hidden(TankBalance balance)
    {
        double? bound = null;
        var newest = balance.Filter!.LastTicks;
        foreach (var onset in balance.Onsets)
        {
            if (onset.Weight(Change.Leak) > 0 && (bound is null || newest - onset.Ticks >= Settled))
            {
                var (_, size, spread) = Weighing.One(onset, Change.Leak, balance.Filter, balance.Filter.MeanUse, balance.Doubt);
                bound = Math.Max(bound ?? 0, Math.Max(0, size) + (Cautious * spread));
            }
        }

        return bound;
    }

    // Two standard deviations: the onset that is asked about is the least favourable of many.
    private const double Cautious = 2;
    private static readonly long Settled = TimeSpan.FromDays(2).Ticks;
}
