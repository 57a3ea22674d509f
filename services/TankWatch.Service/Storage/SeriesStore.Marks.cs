using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Service.Storage.Series;

namespace TankWatch.Service.Storage;

/// <summary>How far a site had come when it was last saved whole: from there it goes on after a restart.</summary>
/// <param name="Position">All of the journal up to this batch is in the state and in the snapshots.</param>
/// <param name="Units">What is known of each unit.</param>
/// <param name="State">What the judgement knew, as <c>SiteStateCodec</c> writes it; null when it has to be judged anew.</param>
internal sealed record SiteMark(long Position, IReadOnlyList<UnitMark> Units, byte[]? State)
{
    /// <summary>Of a site that cannot be judged at present: when it can, all of it will be.</summary>
    public static SiteMark Unjudged(long position) => new(position, [], null);
}

/// <summary>What is known of a unit besides its counts. Stored: members may be added when their absence reads as null or 0.</summary>
/// <param name="Id">The unit.</param>
/// <param name="Accepted">Messages kept.</param>
/// <param name="HeardAt">Last sign of life, time of receipt.</param>
/// <param name="NewestAt">The newest time it reported.</param>
/// <param name="Online">As its last status said, and so on.</param>
/// <param name="Firmware">As last told.</param>
/// <param name="SignalDbm">As last told.</param>
/// <param name="BatteryPercent">As last told.</param>
/// <param name="StatusBoot">The restart of which the last status spoke.</param>
internal sealed record UnitMark(
    UnitId Id, long Accepted, DateTimeOffset? HeardAt, DateTimeOffset? NewestAt, bool? Online, string? Firmware, double? SignalDbm, double? BatteryPercent,
    long? StatusBoot);

/// <summary>A state of a site's judgement in the past, to go back to when late messages come.</summary>
/// <param name="At">How far it had come.</param>
/// <param name="State">As <c>SiteStateCodec</c> writes it.</param>
internal sealed record StoredSnapshot(DateTimeOffset At, byte[] State);

public sealed partial class SeriesStore
{
    /// <summary>The marks of all sites, in one reading, for a start has thousands of them to go through; or of one.</summary>
    internal Dictionary<SiteId, SiteMark> ReadMarks(SiteId? site = null) => database.Read(connection => connection
        .List("SELECT site, position, units, state FROM site_marks WHERE ?1 IS NULL OR site = ?1", row => (new SiteId(row.GetString(0)), UsableMarkOf(row)), site)
        .ToDictionary(mark => mark.Item1, mark => mark.Item2));

    /// <exception cref="StoreException">It is damaged.</exception>
    internal SiteMark? ReadMark(SiteId site) => database.Read(connection =>
        connection.Find("SELECT site, position, units, state FROM site_marks WHERE site = ?1", MarkOf, site));

    /// <returns>The newest snapshot of a site at or before a time; null for none.</returns>
    internal StoredSnapshot? ReadSnapshot(SiteId site, DateTimeOffset atOrBefore) => database.Read(connection => connection.Find(
        "SELECT at, state FROM snapshots WHERE site = ?1 AND at <= ?2 ORDER BY at DESC LIMIT 1",
        row => new StoredSnapshot(row.Time(0), Seal.Open(row.GetFieldValue<byte[]>(1), $"a snapshot of site {site}").ToArray()), site, atOrBefore));

    /// <returns>When the oldest snapshot of a site at or after a time was made; null for none.</returns>
    internal DateTimeOffset? ReadFirstSnapshot(SiteId site, DateTimeOffset atOrAfter) => database.Read(connection => connection.Scalar(
        "SELECT min(at) FROM snapshots WHERE site = ?1 AND at >= ?2", site, atOrAfter) is long ticks ? new DateTimeOffset(ticks, TimeSpan.Zero) : (DateTimeOffset?)null);

    /// <summary>Saves a site whole; call it within <see cref="Database.Write{T}"/>.</summary>
    internal static void Save(SqliteConnection connection, SiteId site, SiteMark mark) => connection.Execute(
        "INSERT OR REPLACE INTO site_marks (site, position, units, state) VALUES (?1, ?2, ?3, ?4)",
        site, mark.Position, StoredJson.Write(mark.Units), mark.State is null ? null : Sealed(mark.State));

    /// <summary>Adds snapshots of a site and takes away those that are not right or not needed any more; call it within <see cref="Database.Write{T}"/>.</summary>
    /// <param name="connection">In a transaction.</param>
    /// <param name="site">Whose.</param>
    /// <param name="wrongFrom">Those of this moment or later had not seen what came late; null for none.</param>
    /// <param name="kept">To add.</param>
    /// <param name="superfluous">Given the times of all that are left, in order, which may go.</param>
    internal static void Replace(
        SqliteConnection connection, SiteId site, DateTimeOffset? wrongFrom, IEnumerable<StoredSnapshot> kept,
        Func<IReadOnlyList<DateTimeOffset>, IEnumerable<DateTimeOffset>> superfluous)
    {
        if (wrongFrom is { } from)
        {
            connection.Execute("DELETE FROM snapshots WHERE site = ?1 AND at >= ?2", site, from);
        }

        foreach (var snapshot in kept)
        {
            connection.Execute("INSERT OR REPLACE INTO snapshots (site, at, state) VALUES (?1, ?2, ?3)", site, snapshot.At, Sealed(snapshot.State));
        }

        foreach (var at in superfluous(connection.List("SELECT at FROM snapshots WHERE site = ?1 ORDER BY at", row => row.Time(0), site)))
        {
            connection.Execute("DELETE FROM snapshots WHERE site = ?1 AND at = ?2", site, at);
        }
    }

    private static SiteMark MarkOf(SqliteDataReader row) => new(
        row.GetInt64(1), StoredJson.Read<List<UnitMark>>(row.GetString(2)),
        row.IsDBNull(3) ? null : Seal.Open(row.GetFieldValue<byte[]>(3), $"the state of site {row.GetString(0)}").ToArray());

    /// <summary>A damaged mark costs its site the judging of all its messages, and no other site anything; <c>verify</c> names it.</summary>
    private static SiteMark UsableMarkOf(SqliteDataReader row)
    {
        try
        {
            return MarkOf(row);
        }
        catch (StoreException)
        {
            return SiteMark.Unjudged(row.GetInt64(1));
        }
    }

    private static byte[] Sealed(byte[] state)
    {
        var packed = new PackedWriter(state.Length + Seal.Length);
        packed.Bytes(state);
        return packed.Sealed();
    }
}
