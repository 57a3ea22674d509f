using System.Globalization;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;

namespace TankWatch.Service.Storage;

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

public sealed partial class SeriesStore
{
    /// <summary>Refusals kept per unit, and for all strangers together: beyond it the oldest go, so that nobody can fill the disk with nonsense.</summary>
    public const int RefusalsKept = 10_000;

    private const string RefusedColumns = "id, unit, topic, payload, length, reason, detail, received";

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

    private static long CountRefused(SqliteConnection connection, UnitId? unit) =>
        (long)connection.Scalar("SELECT count(*) FROM refused WHERE unit IS ?1", unit)!;
}
