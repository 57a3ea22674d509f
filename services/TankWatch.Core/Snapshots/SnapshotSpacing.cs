namespace TankWatch.Core.Snapshots;

/// <summary>Which snapshots are worth keeping: close together lately, ever farther apart with age. About 20 for 400 days.</summary>
/// <remarks>
/// Late data cost the walk from the snapshot before them to now. A gap in proportion to the age lengthens that walk by a share only,
/// whatever the age, and the number of snapshots grows with the logarithm of the time.
/// </remarks>
public static class SnapshotSpacing
{
    /// <summary>The closest two snapshots worth storing.</summary>
    public static readonly TimeSpan Closest = TimeSpan.FromHours(1);

    // One may go when the gap it leaves is shorter than this share of its age. Half would keep 28 of 400 days, all of it 16.
    private const double Share = 0.75;

    /// <param name="times">Of the stored snapshots, ascending.</param>
    /// <param name="now">Not before the last of them.</param>
    /// <returns>The times of those that may go; never the first and never the last.</returns>
    public static IReadOnlyList<DateTimeOffset> MayGo(IReadOnlyList<DateTimeOffset> times, DateTimeOffset now)
    {
        var kept = times.ToList();
        Thin(kept, static at => at, now, Closest);
        return [.. times.Except(kept)];
    }

    /// <summary>Lets go of what lies too close. The first and the last stay.</summary>
    /// <param name="items">Ascending by time.</param>
    /// <param name="at">The time of one.</param>
    /// <param name="now">Not before the last of them.</param>
    /// <param name="closest">No gap shorter than this is worth one between.</param>
    /// <param name="upTo">Only those before this index; null for all.</param>
    internal static void Thin<T>(List<T> items, Func<T, DateTimeOffset> at, DateTimeOffset now, TimeSpan closest, int? upTo = null)
    {
        for (var i = Math.Min(upTo ?? items.Count, items.Count - 1) - 1; i > 0; i--)
        {
            var least = Share * (now - at(items[i]));
            if (at(items[i + 1]) - at(items[i - 1]) < (least > closest ? least : closest))
            {
                items.RemoveAt(i);
            }
        }
    }
}
