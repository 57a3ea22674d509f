using System.Collections.Immutable;
using System.Runtime.InteropServices;
using TankWatch.Core.Findings;

namespace TankWatch.Core.Alerts.Load;

/// <summary>Counts what people were told. Windows slide: none begins at a full hour or ten minutes of the clock.</summary>
public static class LoadMeasure
{
    private const int WorstShown = 10;

    /// <param name="told">In any order, none twice. Those told before <paramref name="from"/> count where they grew stale, and nowhere else.</param>
    /// <param name="from">UTC.</param>
    /// <param name="to">UTC, excluded.</param>
    /// <exception cref="ArgumentException">The time is empty.</exception>
    /// <remarks>Takes time in proportion to n log n.</remarks>
    public static AlertLoad Of(IReadOnlyCollection<Annunciation> told, DateTimeOffset from, DateTimeOffset to)
    {
        if (to <= from)
        {
            throw new ArgumentException("The time ends before it begins.", nameof(to));
        }

        var within = told.Where(one => one.At >= from && one.At < to).OrderBy(one => one.At).ThenBy(one => one.Alert, StringComparer.Ordinal).ToArray();
        var moments = Array.ConvertAll(within, one => one.At.UtcTicks);
        var length = (double)(to - from).Ticks;
        var (tenMinutes, hour) = (Sliding(TimeSpan.FromMinutes(10)), Sliding(TimeSpan.FromHours(1)));
        var sources = SourcesOf(within);
        var (stale, mostStale) = StaleOf(told, from, to);
        return new(
            from, to, within.Length, hour.TimeAbove(LoadTargets.BusyHour) / length, tenMinutes.TimeAbove(LoadTargets.BusyTenMinutes) / length,
            tenMinutes.Most(), FloodsOf(tenMinutes, to), [.. sources.Take(WorstShown)], sources.Count, sources.Count(source => source.Chatters),
            FleetingOf(within), stale, mostStale, [.. Enum.GetValues<Priority>().Select(priority => within.Count(one => one.Priority == priority))]);

        SlidingCounts Sliding(TimeSpan window) => new(moments, window.Ticks, to.UtcTicks);
    }

    private static ImmutableArray<Flood> FloodsOf(SlidingCounts tenMinutes, DateTimeOffset to)
    {
        var floods = ImmutableArray.CreateBuilder<Flood>();
        var (since, before, last) = ((long?)null, 0, 0);
        foreach (var (at, count, soFar) in tenMinutes.Changes())
        {
            last = soFar;
            if (since is null && count >= LoadTargets.FloodBegins)
            {
                (since, before) = (at, soFar - count);
            }
            else if (since is { } begun && count < LoadTargets.FloodEnds)
            {
                floods.Add(new(TimeOf(begun), TimeOf(at), soFar - before));
                since = null;
            }
        }

        if (since is { } open)
        {
            floods.Add(new(TimeOf(open), to, last - before));
        }

        return floods.ToImmutable();

        static DateTimeOffset TimeOf(long ticks) => new(ticks, TimeSpan.Zero);
    }

    /// <returns>Heard most first; of equals, by name.</returns>
    private static List<SourceLoad> SourcesOf(Annunciation[] within)
    {
        var bySource = new Dictionary<AlertSource, (int Count, long Last, long BeforeLast, bool Chatters, string Newest)>();
        foreach (var one in within)
        {
            ref var seen = ref CollectionsMarshal.GetValueRefOrAddDefault(bySource, one.Source, out _);
            var at = one.At.UtcTicks;
            var chatters = seen.Count >= LoadTargets.Chatters - 1 && at - seen.BeforeLast < LoadTargets.Brief.Ticks;
            seen = (seen.Count + 1, at, seen.Last, seen.Chatters || chatters, one.Alert);
        }

        return
        [
            .. bySource.Select(pair => new SourceLoad(pair.Key, pair.Value.Newest, pair.Value.Count, pair.Value.Count / (double)within.Length, pair.Value.Chatters))
                .OrderByDescending(source => source.Count).ThenBy(source => source.Source.Site.Value, StringComparer.Ordinal)
                .ThenBy(source => source.Source.Device.Value, StringComparer.Ordinal).ThenBy(source => source.Source.Kind),
        ];
    }

    /// <summary>Over within a minute, and nothing of the same source within a minute before or after.</summary>
    private static int FleetingOf(Annunciation[] within)
    {
        var (fleeting, last) = (0, new Dictionary<AlertSource, (long At, bool Fleets)>());
        foreach (var one in within)
        {
            ref var before = ref CollectionsMarshal.GetValueRefOrAddDefault(last, one.Source, out var known);
            var again = known && one.At.UtcTicks - before.At < LoadTargets.Brief.Ticks;
            fleeting -= again && before.Fleets ? 1 : 0;
            before = (one.At.UtcTicks, !again && one.ActiveUntil - one.ActiveFrom < LoadTargets.Brief);
            fleeting += before.Fleets ? 1 : 0;
        }

        return fleeting;
    }

    /// <summary>Those that stood before people's eyes for more than a day; the time before they were told is not counted.</summary>
    private static (ImmutableArray<Annunciation> Longest, int Most) StaleOf(IEnumerable<Annunciation> told, DateTimeOffset from, DateTimeOffset to)
    {
        var stale = new List<(Annunciation Told, DateTimeOffset From, DateTimeOffset To)>();

        // Of one stretch people may be told more than once; it stands once.
        foreach (var one in told.OrderBy(one => one.At).DistinctBy(one => (one.Alert, one.ActiveFrom, one.ActiveUntil)))
        {
            var since = (one.ActiveFrom > one.At ? one.ActiveFrom : one.At) + LoadTargets.StaleAfter;
            var until = one.ActiveUntil is { } end && end < to ? end : to;
            if (since < until && until > from)
            {
                stale.Add((one, since, until));
            }
        }

        var (now, most) = (0, 0);
        foreach (var (_, step) in stale.SelectMany(s => ((DateTimeOffset At, int Step)[])[(s.From > from ? s.From : from, 1), (s.To, -1)]).OrderBy(s => s.At).ThenBy(s => s.Step))
        {
            most = Math.Max(most, now += step);
        }

        return ([.. stale.OrderByDescending(s => s.To - s.From).ThenBy(s => s.Told.Alert, StringComparer.Ordinal).Select(s => s.Told).DistinctBy(told => told.Alert)], most);
    }
}
