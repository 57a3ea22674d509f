using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Storage.Series;

/// <summary>One row with its stream and what the plan makes of the stream.</summary>
/// <param name="Place">What the stream is in the plan.</param>
/// <param name="Row">The row.</param>
internal readonly record struct PlacedRow(StreamPlace Place, SeriesRow Row)
{
    public DateTimeOffset At => new(Row.At, TimeSpan.Zero);

    /// <returns>Null when the tank has another number of probes now.</returns>
    public Observation? Fit(SitePlan plan) => RowContent.Read(
        Row.Content, Place.Stream.Kind,
        new(Place.Stream.Unit, At, new(Row.Received, TimeSpan.Zero), Row.Claimed is { } claimed ? new DateTimeOffset(claimed, TimeSpan.Zero) : null, Row.Boot, Row.Seq),
        plan, Place.Device);
}

/// <summary>A stream that a plan knows.</summary>
/// <param name="Number">Of the stream.</param>
/// <param name="Stream">The stream.</param>
/// <param name="Unit">Index into <c>SitePlan.Units</c>.</param>
/// <param name="Device">Index of the tank or pump; 0 where the kind names none.</param>
internal sealed record StreamPlace(int Number, Stream Stream, int Unit, int Device)
{
    /// <returns>Null when the plan does not know the unit or the device, or another unit reports it now.</returns>
    public static StreamPlace? Of(int number, Stream stream, SitePlan plan)
    {
        if (plan.FindUnit(stream.Unit) is not { } unit)
        {
            return null;
        }

        var device = stream.Kind switch
        {
            MessageKind.Level => plan.FindTank(stream.Device)?.Index is { } tank && unit.Tanks.Contains(tank) ? tank : -1,
            MessageKind.Pump or MessageKind.Inlet => plan.FindPump(stream.Device)?.Index is { } pump && unit.Pumps.Contains(pump) ? pump : -1,
            _ => 0,
        };
        return device < 0 ? null : new(number, stream, unit.Index, device);
    }
}

/// <summary>Reads a site's rows from the blocks and from the tail that is not folded yet, as one.</summary>
internal sealed class SiteReader(Database database, SeriesMemory memory)
{
    private const int MostDays = 32;

    /// <returns>The rows of a site at or after <paramref name="from"/> and before <paramref name="to"/>, ticks; those of one stream in order.</returns>
    /// <remarks>What an older plan took and this one does not know is left out: it stays in the store.</remarks>
    public List<PlacedRow> Read(SitePlan plan, long from, long to, Func<StreamPlace, bool>? wanted = null)
    {
        // The tail first: what is folded in between is then read twice, and not missed.
        var tail = memory.ReadTail(plan.Id, from, to).ToLookup(row => row.Stream);
        var places = PlacesOf(plan, wanted);
        return database.Read(connection =>
        {
            var (all, rows) = (new List<PlacedRow>(), new List<SeriesRow>());
            foreach (var place in places)
            {
                rows.Clear();
                SeriesBlocks.Read(connection, place.Number, from, to, rows);
                Join(rows, tail[place.Number]);
                rows.ForEach(row => all.Add(new(place, row)));
            }

            return all;
        });
    }

    /// <summary>Reads a site's observations from a time on, in order, some days at a time and never a part of one.</summary>
    public IEnumerable<IReadOnlyList<(Observation Seen, bool Retained)>> ReadDays(SitePlan plan, long from)
    {
        var days = 1;
        for (var next = NextDay(plan, from); next is { } day; next = NextDay(plan, from))
        {
            var (begin, end) = (Math.Max(from, day), day + (days * TimeSpan.TicksPerDay));
            var read = new List<(Observation Seen, bool Retained)>();
            foreach (var placed in Read(plan, begin, end))
            {
                if (placed.Fit(plan) is { } seen)
                {
                    read.Add((seen, placed.Row.Retained));
                }
            }

            read.Sort(static (a, b) => Observation.Order.Compare(a.Seen, b.Seen));
            yield return read;
            from = end;
            days = Math.Min(days * 2, MostDays);
        }
    }

    /// <returns>A site's rows of the journal after a position that are not folded yet, in order of receipt.</returns>
    public IReadOnlyList<(Observation Seen, bool Retained)> ReadTail(SitePlan plan, long afterPosition)
    {
        var places = PlacesOf(plan, null).ToDictionary(place => place.Number);
        var tail = new List<(Observation, bool)>();
        foreach (var row in memory.ReadTail(plan.Id, 0, long.MaxValue, afterPosition))
        {
            if (places.TryGetValue(row.Stream, out var place) && row.Read() is var read && new PlacedRow(place, read).Fit(plan) is { } seen)
            {
                tail.Add((seen, read.Retained));
            }
        }

        return tail;
    }

    private List<StreamPlace> PlacesOf(SitePlan plan, Func<StreamPlace, bool>? wanted) =>
    [
        .. memory.StreamsOf(plan.Id).Select(known => StreamPlace.Of(known.Number, known.Stream, plan))
            .OfType<StreamPlace>().Where(place => wanted is null || wanted(place)),
    ];

    private long? NextDay(SitePlan plan, long from)
    {
        var tail = memory.ReadTail(plan.Id, from, long.MaxValue);
        var inTail = tail.Count > 0 ? SeriesBlocks.DayOf(tail.Min(row => row.At)) : (long?)null;
        var folded = database.Read(connection => PlacesOf(plan, null).Min(place => SeriesBlocks.NextDay(connection, place.Number, from)));
        return inTail < folded || folded is null ? inTail : folded;
    }

    private static void Join(List<SeriesRow> rows, IEnumerable<TailRow> tail)
    {
        var folded = rows.Count;
        foreach (var row in tail)
        {
            rows.Add(row.Read());
        }

        if (rows.Count == folded)
        {
            return;
        }

        rows.Sort();
        var kept = 1;
        for (var i = 1; i < rows.Count; i++)
        {
            if (!rows[i].IsSameAs(rows[kept - 1]))
            {
                rows[kept++] = rows[i];
            }
        }

        rows.RemoveRange(kept, rows.Count - kept);
    }
}
