using System.Collections.Immutable;
using System.Globalization;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Service.Storage.Series;

namespace TankWatch.Service.Storage;

/// <summary>What one tank's probes said at a moment.</summary>
/// <param name="Cursor">To go on after this one.</param>
/// <param name="At">When it was so, UTC.</param>
/// <param name="Tank">The tank's id.</param>
/// <param name="Wet">One per probe, lowest first.</param>
public sealed record StoredStep(string Cursor, DateTimeOffset At, string Tank, ImmutableArray<bool> Wet);

/// <summary>What one tank's probes said at a moment, for drawing.</summary>
/// <param name="At">When it was so, UTC.</param>
/// <param name="Tank">Index into <c>SitePlan.Tanks</c>.</param>
/// <param name="Wet">Bit i is set when probe i, counted from the lowest, is wet.</param>
internal readonly record struct StoredLevel(DateTimeOffset At, int Tank, int Wet);

/// <summary>
/// The series: what units said. A message is first a row of the journal, in order of arrival, where a group commit makes it durable;
/// <see cref="SeriesFold"/> puts the rows into per-device order later, in the background. Readers see both as one.
/// </summary>
/// <remarks>
/// One process appends, the one that has called <see cref="Open"/> and keeps what it says up to date. Others open it to read, and see
/// what was there then.
/// </remarks>
public sealed partial class SeriesStore
{
    private readonly Database database;
    private readonly SeriesMemory memory = new();
    private readonly SiteReader reader;
    private bool isStale = true;

    public SeriesStore(Database database)
    {
        this.database = database;
        reader = new(database, memory);
        Fold = new(database, memory);
    }

    internal SeriesFold Fold { get; }

    /// <summary>Position of the newest batch of the journal; 0 before the first.</summary>
    internal long Position => memory.Position;

    /// <summary>Reads into memory what is not folded yet.</summary>
    /// <exception cref="StoreException">It is damaged.</exception>
    public void Open()
    {
        database.Read(connection => { memory.Load(connection); return true; });
        isStale = false;
    }

    /// <summary>Another process may have deleted sites.</summary>
    internal void Refresh() => database.Read(connection => { memory.LoadStreams(connection); return true; });

    /// <summary>Sorts out which messages are new. What is staged must be committed, for it counts as taken from now on.</summary>
    internal StagedBatch Stage(IReadOnlyList<JournalEntry> entries)
    {
        if (isStale)
        {
            Open();
        }

        try
        {
            return memory.Stage(
                entries,
                (unit, boot) => database.Read(connection => UnitCounts.ReadOld(connection, unit, boot)),
                (stream, row) => database.Read(connection => SeriesBlocks.Has(connection, stream, row)));
        }
        catch
        {
            // Some of it counts as taken already, and is not: the store knows better.
            isStale = true;
            throw;
        }
    }

    /// <summary>Makes a staged batch durable, with what was refused beside it.</summary>
    /// <exception cref="SqliteException">Nothing of it was kept; it may be tried again.</exception>
    internal void Commit(StagedBatch staged, IReadOnlyList<RefusedEntry> refused)
    {
        var written = database.Write(connection =>
        {
            Keep(connection, refused);
            return staged.Write(connection);
        });
        if (written is not null)
        {
            memory.Committed(staged, written);
        }
    }

    /// <summary>What a site had before this moment was deleted for its age; null when nothing ever was.</summary>
    internal DateTimeOffset? ReadRawFrom(SiteId site) => database.Read(connection => connection.Scalar("SELECT value FROM meta WHERE name = ?1", RawFrom(site)) is string ticks
        ? new DateTimeOffset(long.Parse(ticks, CultureInfo.InvariantCulture), TimeSpan.Zero) : (DateTimeOffset?)null);

    /// <summary>What a site had before a day, ticks, is deleted; call it within <see cref="Database.Write{T}"/>.</summary>
    internal static void SetRawFrom(SqliteConnection connection, SiteId site, long day) => connection.Execute(
        "INSERT INTO meta (name, value) VALUES (?1, ?2) ON CONFLICT (name) DO UPDATE SET value = ?2", RawFrom(site), day.ToString(CultureInfo.InvariantCulture));

    /// <summary>Sequence numbers that a unit skipped within its restarts: sent, and never taken.</summary>
    internal long MissingOf(UnitId unit) => memory.MissingOf(unit);

    /// <summary>The highest restart that a unit ever counted; null for none.</summary>
    internal long? HighestBootOf(UnitId unit) => memory.HighestBootOf(unit);

    /// <summary>All messages of a unit's restart between two of them have been taken.</summary>
    internal bool IsWholeBetween(UnitId unit, long boot, long after, long before) => memory.IsWholeBetween(unit, boot, after, before);

    /// <summary>A site's observations at or after a time, in order, some days at a time; with each, whether it was the broker's copy.</summary>
    /// <remarks>What an older plan took and this one does not know is left out: it stays in the store.</remarks>
    internal IEnumerable<IReadOnlyList<(Observation Seen, bool Retained)>> ReadDays(SitePlan plan, DateTimeOffset from) =>
        reader.ReadDays(plan, from.UtcTicks);

    /// <summary>A site's observations at or after a time, in order.</summary>
    public IReadOnlyList<Observation> ReadFrom(SitePlan plan, DateTimeOffset from) => [.. ReadDays(plan, from).SelectMany(days => days).Select(read => read.Seen)];

    /// <returns>A site's rows of the journal after a position that are not folded yet, in order of receipt, and which of them the broker had kept.</returns>
    internal IReadOnlyList<(Observation Seen, bool Retained)> ReadJournal(SitePlan plan, long position) => reader.ReadTail(plan, position);

    /// <returns>What the probes of all tanks said at or after <paramref name="from"/> and before <paramref name="to"/>, in order.</returns>
    /// <remarks>What an older plan took and this one does not know is left out.</remarks>
    internal IReadOnlyList<StoredLevel> ReadLevels(SitePlan plan, DateTimeOffset from, DateTimeOffset to)
    {
        var levels = new List<StoredLevel>();
        foreach (var placed in reader.Read(plan, from.UtcTicks, to.UtcTicks, place => place.Stream.Kind == MessageKind.Level))
        {
            var (wet, probes) = RowContent.ReadWet(placed.Row.Content);
            if (probes == plan.Tanks[placed.Place.Device].Probes.Length)
            {
                levels.Add(new(placed.At, placed.Place.Device, wet));
            }
        }

        levels.Sort((a, b) => a.At.CompareTo(b.At) is var order and not 0 ? order : a.Tank.CompareTo(b.Tank));
        return levels;
    }

    /// <returns>For each unit of the plan, when it spoke at or after <paramref name="from"/> and before <paramref name="to"/>, in order.</returns>
    internal IReadOnlyList<IReadOnlyList<DateTimeOffset>> ReadWords(SitePlan plan, DateTimeOffset from, DateTimeOffset to)
    {
        var words = plan.Units.Select(_ => new List<DateTimeOffset>()).ToArray();
        foreach (var placed in reader.Read(plan, from.UtcTicks, to.UtcTicks))
        {
            words[placed.Place.Unit].Add(placed.At);
        }

        Array.ForEach(words, unit => unit.Sort());
        return words;
    }

    /// <param name="plan">The site.</param>
    /// <param name="from">At or after.</param>
    /// <param name="to">Before.</param>
    /// <param name="after">A <see cref="StoredStep.Cursor"/> to go on from; null for the newest.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>Newest first.</returns>
    public IReadOnlyList<StoredStep> ListSteps(SitePlan plan, DateTimeOffset from, DateTimeOffset to, string? after, int limit)
    {
        var (at, given) = ReadCursor(after);
        var end = at < to.UtcTicks ? new DateTimeOffset(at + 1, TimeSpan.Zero) : to;
        var levels = ReadLevels(plan, from, end);
        var steps = new List<StoredStep>();
        for (var (i, same) = (levels.Count - 1, 0); i >= 0 && steps.Count < limit; i--)
        {
            var level = levels[i];
            same = i < levels.Count - 1 && levels[i + 1].At == level.At ? same + 1 : 1;
            if (level.At.UtcTicks != at || same > given)
            {
                steps.Add(new(Cursor(level.At.UtcTicks, same), level.At, plan.Tanks[level.Tank].Id.Value, Probes(plan, level)));
            }
        }

        return steps;
    }

    /// <summary>Deletes what units said of a site; call it within <see cref="Database.Write{T}"/>. What of it is in the journal goes with the next fold.</summary>
    internal static void Delete(SqliteConnection connection, SiteId site)
    {
        connection.Execute("DELETE FROM meta WHERE name = ?1", RawFrom(site));
        foreach (var (number, unit) in connection.List("SELECT id, unit FROM streams WHERE site = ?1", row => (row.GetInt32(0), row.GetString(1)), site))
        {
            SeriesBlocks.Delete(connection, number);
            if (connection.Scalar("SELECT 1 FROM streams WHERE unit = ?1 AND site <> ?2", unit, site) is null)
            {
                connection.Execute("DELETE FROM unit_counts WHERE unit = ?1", unit);
                connection.Execute("DELETE FROM unit_boots WHERE unit = ?1", unit);
            }
        }
    }

    /// <summary>Messages were deleted for their age.</summary>
    internal static bool IsSwept(SqliteConnection connection) => connection.Scalar("SELECT 1 FROM meta WHERE name GLOB 'raw-from/*'") is not null;

    private static string RawFrom(SiteId site) => $"raw-from/{site}";

    private static ImmutableArray<bool> Probes(SitePlan plan, StoredLevel level) =>
        [.. Enumerable.Range(0, plan.Tanks[level.Tank].Probes.Length).Select(probe => (level.Wet & (1 << probe)) != 0)];

    /// <summary>The moment, and how many steps of that moment have been given: a moment may have several.</summary>
    private static string Cursor(long at, int given) => string.Create(CultureInfo.InvariantCulture, $"{at}-{given}");

    private static (long At, int Given) ReadCursor(string? cursor) =>
        cursor?.Split('-') is [var at, var given]
        && long.TryParse(at, CultureInfo.InvariantCulture, out var ticks) && int.TryParse(given, CultureInfo.InvariantCulture, out var count)
        && ticks >= 0 && ticks < DateTimeOffset.MaxValue.UtcTicks
            ? (ticks, count) : (long.MaxValue, 0);
}
