namespace TankWatch.Core.Alerts.Load;

/// <summary>How many moments lie in the window that ends now, for every now: exact, where bins of the clock would cut a burst in two.</summary>
/// <param name="moments">Ticks, ascending.</param>
/// <param name="window">Ticks. A moment counts from itself on until just before this much later.</param>
/// <param name="end">Ticks; nothing is told of what comes after it.</param>
internal readonly struct SlidingCounts(long[] moments, long window, long end)
{
    /// <summary>
    /// Each change of the count with the time from which it holds, and how many moments there were up to it; ascending, and equal moments
    /// are one change.
    /// </summary>
    public IEnumerable<(long At, int Count, int SoFar)> Changes()
    {
        var (next, oldest) = (0, 0);
        while (oldest < moments.Length)
        {
            var leaving = moments[oldest] + window;
            var at = next < moments.Length ? Math.Min(moments[next], leaving) : leaving;
            if (at >= end)
            {
                yield break;
            }

            while (next < moments.Length && moments[next] == at)
            {
                next++;
            }

            while (oldest < next && moments[oldest] + window == at)
            {
                oldest++;
            }

            yield return (at, next - oldest, next);
        }
    }

    public int Most() => Changes().Select(change => change.Count).DefaultIfEmpty().Max();

    /// <returns>Ticks during which the count was above a limit.</returns>
    public long TimeAbove(int limit)
    {
        var (sum, above) = (0L, (long?)null);
        foreach (var (at, count, _) in Changes())
        {
            if (count > limit)
            {
                above ??= at;
            }
            else if (above is { } since)
            {
                (sum, above) = (sum + at - since, null);
            }
        }

        return above is { } open ? sum + end - open : sum;
    }
}
