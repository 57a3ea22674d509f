using System.Collections.Immutable;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;
using TankWatch.Core.Timelines;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Pages.Strips;

/// <summary>From what was said to what can be drawn: pure.</summary>
internal static class StripFold
{
    /// <summary>More marks than this in one lane cannot be told apart on any screen; they are joined.</summary>
    public const int MostMarks = 400;

    private static readonly TimeSpan LongestWithSupply = TimeSpan.FromDays(20);

    /// <summary>When a unit's word held.</summary>
    /// <param name="words">When it spoke, in order.</param>
    /// <param name="end">What comes after is not known yet.</param>
    public static ImmutableArray<Stretch> Known(IReadOnlyList<DateTimeOffset> words, DateTimeOffset end)
    {
        var known = ImmutableArray.CreateBuilder<Stretch>();
        foreach (var word in words.Where(word => word < end))
        {
            var until = Earlier(word + SiteTimeline.WordHolds, end);
            if (known.Count > 0 && known[^1].To >= word)
            {
                known[^1] = known[^1] with { To = Later(known[^1].To, until) };
            }
            else
            {
                known.Add(new(word, until));
            }
        }

        return known.ToImmutable();
    }

    /// <summary>What is left of a window without <paramref name="known"/>.</summary>
    public static ImmutableArray<Stretch> Gaps(ImmutableArray<Stretch> known, StripWindow window, DateTimeOffset end)
    {
        var gaps = ImmutableArray.CreateBuilder<Stretch>();
        var from = window.From;
        end = Earlier(end, window.To);
        foreach (var stretch in known.Where(stretch => stretch.To > window.From))
        {
            if (stretch.From > from)
            {
                gaps.Add(new(from, Earlier(stretch.From, end)));
            }

            from = Later(from, stretch.To);
        }

        if (from < end)
        {
            gaps.Add(new(from, end));
        }

        return [.. gaps.Where(gap => gap.To > gap.From)];
    }

    /// <summary>What a tank held, as far as it was known, within the window.</summary>
    /// <param name="tank">With probes.</param>
    /// <param name="levels">Of this tank, in order.</param>
    /// <param name="known">When its unit's word held.</param>
    /// <param name="window">To be drawn.</param>
    /// <param name="most">More stretches than this are joined.</param>
    public static ImmutableArray<WaterStretch> Water(
        Tank tank, IReadOnlyList<StoredLevel> levels, ImmutableArray<Stretch> known, StripWindow window, int most = MostMarks)
    {
        var water = ImmutableArray.CreateBuilder<WaterStretch>();
        var next = 0;
        for (var i = 0; i < levels.Count; i++)
        {
            if (tank.Bounds(levels[i].Wet) is not var (low, high))
            {
                continue;
            }

            var from = levels[i].At;
            var to = Earlier(i + 1 < levels.Count ? levels[i + 1].At : DateTimeOffset.MaxValue, window.To);
            while (next < known.Length && known[next].To <= from)
            {
                next++;
            }

            for (var k = next; k < known.Length && known[k].From < to; k++)
            {
                Add(water, new(Later(Later(from, known[k].From), window.From), Earlier(to, known[k].To), low, high));
            }
        }

        return water.Count > most ? Thinned(water, window, most) : water.ToImmutable();
    }

    /// <summary>Runs that stand too close are joined, so that a chattering pump draws as a block and not as a thousand bars.</summary>
    public static ImmutableArray<RunMark> Joined(IEnumerable<RunMark> runs, StripWindow window, int most = MostMarks)
    {
        var near = window.Length / (most * 2);
        var joined = ImmutableArray.CreateBuilder<RunMark>();
        foreach (var run in runs)
        {
            if (joined.Count > 0 && run.From - joined[^1].To < near)
            {
                var last = joined[^1];
                joined[^1] = new(last.From, Later(last.To, run.To), last.Runs + run.Runs, last.Manual || run.Manual, run.Running, last.Lasted + run.Lasted, null);
            }
            else
            {
                joined.Add(run);
            }
        }

        return joined.ToImmutable();
    }

    /// <summary>One trip a mark's width.</summary>
    public static ImmutableArray<TripMark> Joined(IEnumerable<TripMark> trips, StripWindow window)
    {
        var near = window.Length / MostMarks;
        var joined = ImmutableArray.CreateBuilder<TripMark>();
        joined.AddRange(trips.Where(trip => joined.Count == 0 || trip.At - joined[^1].At >= near));
        return joined.ToImmutable();
    }

    /// <summary>Gives brackets that overlap rows of their own.</summary>
    public static ImmutableArray<AlertMark> InRows(IEnumerable<AlertMark> alerts)
    {
        var ends = new List<DateTimeOffset>();
        var placed = ImmutableArray.CreateBuilder<AlertMark>();
        foreach (var alert in alerts)
        {
            var row = ends.FindIndex(end => end <= alert.From);
            if (row < 0)
            {
                row = ends.Count;
                ends.Add(alert.To);
            }

            ends[row] = alert.To;
            placed.Add(alert with { Row = row });
        }

        return placed.ToImmutable();
    }

    /// <summary>The hours of supply of each local day; none in a window so long that they could not be told apart.</summary>
    public static ImmutableArray<Stretch> Supply(SitePlan plan, StripWindow window)
    {
        if (plan.SupplyHours.IsEmpty || window.Length > LongestWithSupply)
        {
            return [];
        }

        var first = LocalDays.DateOf(window.From, plan.TimeZone).AddDays(-1);
        var days = LocalDays.DateOf(window.To, plan.TimeZone).DayNumber - first.DayNumber;
        return
        [
            .. from day in Enumerable.Range(0, days + 1)
               from hours in plan.SupplyHours
               let date = first.AddDays(day)
               let stretch = new Stretch(At(date, hours.From), At(hours.To > hours.From ? date : date.AddDays(1), hours.To))
               where stretch.To > window.From && stretch.From < window.To
               select stretch,
        ];

        DateTimeOffset At(DateOnly date, TimeOnly clock)
        {
            var local = date.ToDateTime(clock);
            return new DateTimeOffset(local, plan.TimeZone.GetUtcOffset(local)).ToUniversalTime();
        }
    }

    private static void Add(ImmutableArray<WaterStretch>.Builder water, WaterStretch stretch)
    {
        if (stretch.To <= stretch.From)
        {
            return;
        }

        if (water.Count > 0 && water[^1] is var last && last.To == stretch.From && last.Low == stretch.Low && last.High == stretch.High)
        {
            water[^1] = last with { To = stretch.To };
        }
        else
        {
            water.Add(stretch);
        }
    }

    /// <summary>Columns of equal width, each between the least and the most that was possible in it.</summary>
    private static ImmutableArray<WaterStretch> Thinned(ImmutableArray<WaterStretch>.Builder water, StripWindow window, int columns)
    {
        var column = window.Length / columns;
        var thinned = ImmutableArray.CreateBuilder<WaterStretch>();
        var first = 0;
        for (var i = 0; i < columns; i++)
        {
            var (from, to) = (window.From + (column * i), window.From + (column * (i + 1)));
            while (first < water.Count && water[first].To <= from)
            {
                first++;
            }

            var (low, high, seen) = (double.MaxValue, double.MinValue, TimeSpan.Zero);
            for (var k = first; k < water.Count && water[k].From < to; k++)
            {
                (low, high) = (Math.Min(low, water[k].Low), Math.Max(high, water[k].High));
                seen += Earlier(water[k].To, to) - Later(water[k].From, from);
            }

            if (seen > column / 2)
            {
                Add(thinned, new(from, to, low, high));
            }
        }

        return thinned.ToImmutable();
    }

    private static DateTimeOffset Earlier(DateTimeOffset a, DateTimeOffset b) => a < b ? a : b;

    private static DateTimeOffset Later(DateTimeOffset a, DateTimeOffset b) => a > b ? a : b;
}
