using System.Collections.Immutable;
using System.Globalization;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;

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

/// <summary>A message that could not be taken.</summary>
/// <param name="Id">Ascending by receipt.</param>
/// <param name="Unit">From the topic; null when it names none.</param>
/// <param name="Topic">As published, cut at 256 characters.</param>
/// <param name="Payload">As it came; the first 256 KiB of a longer one.</param>
/// <param name="Length">Of what came, bytes.</param>
/// <param name="Reason">A name of <see cref="RefusalNames"/>.</param>
/// <param name="Detail">For a person.</param>
/// <param name="ReceivedAt">UTC.</param>
public sealed record StoredRefusal(
    long Id, UnitId? Unit, string Topic, byte[] Payload, long Length, string Reason, string Detail, DateTimeOffset ReceivedAt);

/// <summary>A unit that no site's file names.</summary>
/// <param name="Unit">From its topic.</param>
/// <param name="Messages">Of it that are kept.</param>
/// <param name="LastAt">When the newest came, UTC.</param>
public sealed record StoredStranger(UnitId Unit, long Messages, DateTimeOffset LastAt);

/// <summary>What is stored of one unit, to count on from after a restart.</summary>
public sealed record StoredUnitTally(long Accepted, long Refused, DateTimeOffset? LastLiveAt, ImmutableArray<StoredBoot> Boots);

/// <summary>The sequence numbers seen of one restart of a unit.</summary>
public sealed record StoredBoot(long Boot, long First, long Last, long Seen);

/// <summary>The series: the journal of messages in order of arrival, read back in order of their time; refusals; runs and daily figures.</summary>
public sealed class SeriesStore(Database database)
{
    /// <summary>Refusals kept per unit, and for all strangers together: beyond it the oldest go, so that nobody can fill the disk with nonsense.</summary>
    public const int RefusalsKept = 10_000;

    private const string RefusedColumns = "id, unit, topic, payload, length, reason, detail, received";

    /// <summary>Appends messages; call it within <see cref="Database.Write{T}"/>.</summary>
    /// <returns>For each, whether it was new: a second one of the same identity changes nothing.</returns>
    internal static bool[] Append(SqliteConnection connection, IReadOnlyList<JournalEntry> entries)
    {
        using var insert = connection.Command(
            """
            INSERT OR IGNORE INTO messages (site, unit, kind, device, at, received, claimed, boot, seq, retained, identity, payload)
            VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)
            """,
            null, null, null, null, null, null, null, null, null, null, null, null);
        var isNew = new bool[entries.Count];
        for (var i = 0; i < entries.Count; i++)
        {
            var (plan, accepted, retained) = entries[i];
            var stamp = accepted.Seen.Stamp;
            isNew[i] = insert.With(
                plan.Id, stamp.Unit, FieldMessageDecoder.NameOf(accepted.Kind), DeviceOf(plan, accepted.Seen), stamp.At, stamp.ReceivedAt,
                stamp.ClaimedAt, stamp.Boot, stamp.Seq, retained ? 1 : 0, accepted.Identity, accepted.Json.ToArray()).ExecuteNonQuery() == 1;
        }

        return isNew;
    }

    /// <summary>Keeps refusals; call it within <see cref="Database.Write{T}"/>.</summary>
    internal static void Keep(SqliteConnection connection, IReadOnlyList<RefusedEntry> entries)
    {
        foreach (var refused in entries)
        {
            connection.Execute(
                "INSERT INTO refused (bucket, unit, topic, payload, length, reason, detail, received) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                Bucket(refused), refused.Unit, Cut(refused.Topic), refused.Payload[..Math.Min(refused.Payload.Length, FieldMessageDecoder.MaxPayloadBytes)].ToArray(),
                refused.Payload.Length, RefusalNames.Of(refused.Reason), refused.Detail, refused.ReceivedAt);
        }

        foreach (var bucket in entries.Select(Bucket).Distinct())
        {
            connection.Execute(
                "DELETE FROM refused WHERE bucket = ?1 AND id <= (SELECT id FROM refused WHERE bucket = ?1 ORDER BY id DESC LIMIT 1 OFFSET ?2)",
                bucket, RefusalsKept);
        }

        static string Bucket(RefusedEntry entry) => entry.Known ? entry.Unit!.Value.Value : "";
        static string Cut(string topic) => topic.Length <= 256 ? topic : topic[..256];
    }

    /// <summary>A site's observations at or after a time, in order, read from the stored payloads with their stored times.</summary>
    /// <remarks>What an older plan took and this one does not know is left out: it stays in the journal.</remarks>
    public IReadOnlyList<Observation> ReadFrom(SitePlan plan, DateTimeOffset from) => database.Read(connection => connection.List(
        "SELECT unit, kind, received, payload FROM messages WHERE site = ?1 AND at >= ?2 ORDER BY at, unit, boot, seq",
        row => Decode(plan, new(row.GetString(0)), row.GetString(1), row.Time(2), row.GetFieldValue<byte[]>(3)),
        plan.Id, from).OfType<Observation>().ToList());

    /// <returns>What the probes of all tanks said at or after <paramref name="from"/> and before <paramref name="to"/>, in order.</returns>
    /// <remarks>What an older plan took and this one does not know is left out.</remarks>
    internal IReadOnlyList<StoredLevel> ReadLevels(SitePlan plan, DateTimeOffset from, DateTimeOffset to) => database.Read(connection =>
    {
        var reported = plan.Units.SelectMany(unit => unit.Tanks.Select(tank => ((unit.Id.Value, plan.Tanks[tank].Id.Value), plan.Tanks[tank]))).ToDictionary();
        return connection.List(
            "SELECT unit, device, at, payload FROM messages WHERE site = ?1 AND kind = 'level' AND at >= ?2 AND at < ?3 ORDER BY at, unit, boot, seq",
            row => reported.TryGetValue((row.GetString(0), row.GetString(1)), out var tank)
                && FieldMessageDecoder.ReadWet(row.GetFieldValue<byte[]>(3)) is var (wet, probes) && probes == tank.Probes.Length
                ? new StoredLevel(row.Time(2), tank.Index, wet) : new StoredLevel(default, -1, 0),
            plan.Id, from, to).FindAll(level => level.Tank >= 0);
    });

    /// <returns>For each unit of the plan, when it spoke at or after <paramref name="from"/> and before <paramref name="to"/>, in order.</returns>
    internal IReadOnlyList<IReadOnlyList<DateTimeOffset>> ReadWords(SitePlan plan, DateTimeOffset from, DateTimeOffset to) => database.Read(connection =>
    {
        var words = plan.Units.Select(_ => new List<DateTimeOffset>()).ToArray();
        foreach (var (unit, at) in connection.List(
            "SELECT unit, at FROM messages WHERE site = ?1 AND at >= ?2 AND at < ?3 ORDER BY at", row => (row.GetString(0), row.Time(1)), plan.Id, from, to))
        {
            if (plan.FindUnit(new(unit)) is { } known)
            {
                words[known.Index].Add(at);
            }
        }

        return words;
    });

    internal StoredUnitTally ReadTally(SiteId site, UnitId unit) => database.Read(connection =>
    {
        var accepted = connection.Scalar("SELECT count(*) FROM messages WHERE site = ?1 AND unit = ?2", site, unit);
        var live = connection.Scalar("SELECT max(received) FROM messages WHERE site = ?1 AND unit = ?2 AND retained = 0", site, unit);
        var boots = connection.List(
            """
            SELECT boot, min(seq), max(seq), count(*) FROM messages
            WHERE site = ?1 AND unit = ?2 AND boot IS NOT NULL AND seq IS NOT NULL GROUP BY boot ORDER BY boot
            """,
            row => new StoredBoot(row.GetInt64(0), row.GetInt64(1), row.GetInt64(2), row.GetInt64(3)), site, unit);
        return new StoredUnitTally(
            (long)accepted!, CountRefused(connection, unit), live is long ticks ? new DateTimeOffset(ticks, TimeSpan.Zero) : null, [.. boots]);
    });

    /// <param name="plan">The site.</param>
    /// <param name="from">At or after.</param>
    /// <param name="to">Before.</param>
    /// <param name="after">A <see cref="StoredStep.Cursor"/> to go on from; null for the newest.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>Newest first.</returns>
    public IReadOnlyList<StoredStep> ListSteps(SitePlan plan, DateTimeOffset from, DateTimeOffset to, string? after, int limit)
    {
        var (atBefore, idBefore) = ReadCursor(after);
        return database.Read(connection => connection.List(
            """
            SELECT id, at, unit, received, payload FROM messages
            WHERE site = ?1 AND kind = 'level' AND at >= ?2 AND at < ?3 AND (at, id) < (?4, ?5)
            ORDER BY at DESC, id DESC LIMIT ?6
            """,
            row => Decode(plan, new(row.GetString(2)), "level", row.Time(3), row.GetFieldValue<byte[]>(4)) is LevelObservation level
                ? new StoredStep(Cursor(row.GetInt64(1), row.GetInt64(0)), row.Time(1), plan.Tanks[level.Tank].Id.Value, Probes(plan, level)) : null,
            plan.Id, from, to, atBefore, idBefore, limit).OfType<StoredStep>().ToList());
    }

    /// <returns>Runs that touch [from, to), in order.</returns>
    public IReadOnlyList<PumpRun> ListRuns(SiteId site, DateTimeOffset from, DateTimeOffset to) => database.Read(connection => connection.List(
        "SELECT json FROM runs WHERE site = ?1 AND started < ?3 AND (stopped IS NULL OR stopped > ?2 OR started >= ?2) ORDER BY started, pump",
        row => StoredJson.Read<PumpRun>(row.GetString(0)), site, from, to));

    /// <returns>The newest runs of a pump, newest first.</returns>
    public IReadOnlyList<PumpRun> ListLastRuns(SiteId site, DeviceId pump, int limit) => database.Read(connection => connection.List(
        "SELECT json FROM runs WHERE site = ?1 AND pump = ?2 ORDER BY started DESC LIMIT ?3", row => StoredJson.Read<PumpRun>(row.GetString(0)), site, pump, limit));

    /// <returns>Figures of the local days from <paramref name="from"/> to <paramref name="to"/>, both included, in order.</returns>
    public IReadOnlyList<SiteDay> ListDays(SiteId site, DateOnly from, DateOnly to) => database.Read(connection => connection.List(
        "SELECT json FROM days WHERE site = ?1 AND date BETWEEN ?2 AND ?3 ORDER BY date",
        row => StoredJson.Read<SiteDay>(row.GetString(0)), site, Stored(from), Stored(to)));

    /// <param name="unit">Null for what came on no unit's topic.</param>
    /// <param name="after">A <see cref="StoredRefusal.Id"/> in text; null for the newest.</param>
    /// <param name="limit">At most so many.</param>
    /// <returns>Newest first.</returns>
    public IReadOnlyList<StoredRefusal> ListRefused(UnitId? unit, string? after, int limit) => database.Read(connection => connection.List(
        $"SELECT {RefusedColumns} FROM refused WHERE unit IS ?1 AND id < ?2 ORDER BY id DESC LIMIT ?3",
        row => new StoredRefusal(
            row.GetInt64(0), row.TextOrNull(1) is { } id ? new UnitId(id) : null, row.GetString(2), row.GetFieldValue<byte[]>(3), row.GetInt64(4),
            row.GetString(5), row.GetString(6), row.Time(7)),
        unit, long.TryParse(after, CultureInfo.InvariantCulture, out var id) ? id : long.MaxValue, limit));

    /// <param name="unit">Null for what came on no unit's topic.</param>
    public long CountRefused(UnitId? unit) => database.Read(connection => CountRefused(connection, unit));

    /// <returns>Units that no site's file named when they spoke, the newest first.</returns>
    public IReadOnlyList<StoredStranger> ListStrangers(int limit) => database.Read(connection => connection.List(
        """
        SELECT unit, count(*), max(received) FROM refused WHERE bucket = '' AND unit IS NOT NULL
        AND unit NOT IN (SELECT id FROM units) GROUP BY unit ORDER BY max(received) DESC LIMIT ?1
        """,
        row => new StoredStranger(new(row.GetString(0)), row.GetInt64(1), row.Time(2)), limit));

    /// <summary>Replaces what is known of runs and days; call it within <see cref="Database.Write{T}"/>.</summary>
    internal static void Replace(SqliteConnection connection, SiteId site, DateTimeOffset? runsAfter, IEnumerable<PumpRun> runs, IEnumerable<SiteDay> days)
    {
        if (runsAfter is { } after)
        {
            connection.Execute("DELETE FROM runs WHERE site = ?1 AND (stopped IS NULL OR stopped > ?2)", site, after);
        }

        foreach (var run in runs)
        {
            connection.Execute(
                "INSERT OR REPLACE INTO runs (site, pump, started, stopped, json) VALUES (?1, ?2, ?3, ?4, ?5)",
                site, run.Pump, run.StartedAt, run.StoppedAt, StoredJson.Write(run));
        }

        foreach (var day in days)
        {
            connection.Execute("INSERT OR REPLACE INTO days (site, date, json) VALUES (?1, ?2, ?3)", site, Stored(day.Date), StoredJson.Write(day));
        }
    }

    private static Observation? Decode(SitePlan plan, UnitId unitId, string kindName, DateTimeOffset received, byte[] payload) =>
        plan.FindUnit(unitId) is { } unit && FieldMessageDecoder.FindKind(kindName) is { } kind
        && FieldMessageDecoder.Decode(plan, unit, kind, payload, received) is [Decoded.Accepted accepted] ? accepted.Seen : null;

    private static string? DeviceOf(SitePlan plan, Observation seen) => seen switch
    {
        LevelObservation level => plan.Tanks[level.Tank].Id.Value,
        PumpObservation pump => plan.Pumps[pump.Pump].Id.Value,
        InletObservation inlet => plan.Pumps[inlet.Pump].Id.Value,
        _ => null,
    };

    private static ImmutableArray<bool> Probes(SitePlan plan, LevelObservation level) =>
        [.. Enumerable.Range(0, plan.Tanks[level.Tank].Probes.Length).Select(probe => (level.Wet & (1 << probe)) != 0)];

    private static long CountRefused(SqliteConnection connection, UnitId? unit) =>
        (long)connection.Scalar("SELECT count(*) FROM refused WHERE unit IS ?1", unit)!;

    private static string Stored(DateOnly date) => date.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture);

    private static string Cursor(long at, long id) => string.Create(CultureInfo.InvariantCulture, $"{at}-{id}");

    private static (long At, long Id) ReadCursor(string? cursor) =>
        cursor?.Split('-') is [var at, var id]
        && long.TryParse(at, CultureInfo.InvariantCulture, out var ticks) && long.TryParse(id, CultureInfo.InvariantCulture, out var position)
            ? (ticks, position) : (long.MaxValue, long.MaxValue);
}

/// <summary>A message to journal.</summary>
internal sealed record JournalEntry(SitePlan Plan, Decoded.Accepted Accepted, bool Retained);

/// <summary>A refusal to keep.</summary>
/// <param name="Unit">From the topic; null when the topic names none.</param>
/// <param name="Known">Some site's file names the unit.</param>
/// <param name="Topic">As published.</param>
/// <param name="Payload">As it came.</param>
/// <param name="Reason">For counting.</param>
/// <param name="Detail">For a person.</param>
/// <param name="ReceivedAt">UTC.</param>
internal sealed record RefusedEntry(
    UnitId? Unit, bool Known, string Topic, ReadOnlyMemory<byte> Payload, RefusalReason Reason, string Detail, DateTimeOffset ReceivedAt);
