using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Sites;
using TankWatch.Service.Storage.Series;

namespace TankWatch.Service.Storage;

/// <summary>Takes over the messages of a store that kept each as a row of its own, with its JSON.</summary>
internal static class OldMessages
{
    private const int AtOnce = 4096;

    private sealed record OldMessage(long Id, UnitId Unit, string Kind, DateTimeOffset Received, bool Retained, byte[] Payload);

    /// <remarks>What the site's present file does not take goes to the refused: nothing is lost.</remarks>
    public static void Move(SqliteConnection connection)
    {
        var plans = connection.List("SELECT json FROM sites", row => SiteFile.Parse(System.Text.Encoding.UTF8.GetBytes(row.GetString(0))).Plan)
            .OfType<SitePlan>().SelectMany(plan => plan.Units.Select(unit => (unit.Id, plan))).ToDictionary();
        var memory = new SeriesMemory();
        memory.Load(connection);
        for (var (last, part) = (0L, Read(connection, 0)); part.Count > 0; part = Read(connection, last))
        {
            var decoded = part.ConvertAll(old => (Old: old, Plan: plans.GetValueOrDefault(old.Unit), Result: Decode(old, plans.GetValueOrDefault(old.Unit))));
            var staged = memory.Stage(
                [.. decoded.Where(old => old.Result is Decoded.Accepted).Select(old => new JournalEntry(old.Plan!, (Decoded.Accepted)old.Result, old.Old.Retained))],
                (_, _) => null, (_, _) => false);
            if (staged.Write(connection) is { } written)
            {
                memory.Committed(staged, written);
            }

            SeriesStore.Keep(connection, [.. decoded.Where(old => old.Result is Decoded.Refused).Select(old => RefusalOf(old.Old, (Decoded.Refused)old.Result))]);
            last = part[^1].Id;
        }
    }

    private static List<OldMessage> Read(SqliteConnection connection, long after) => connection.List(
        "SELECT id, unit, kind, received, retained, payload FROM messages WHERE id > ?1 ORDER BY id LIMIT ?2",
        row => new OldMessage(row.GetInt64(0), new(row.GetString(1)), row.GetString(2), row.Time(3), row.GetInt64(4) != 0, row.GetFieldValue<byte[]>(5)), after, AtOnce);

    private static Decoded Decode(OldMessage old, SitePlan? plan) =>
        plan?.FindUnit(old.Unit) is { } unit && FieldMessageDecoder.FindKind(old.Kind) is { } kind
            ? FieldMessageDecoder.Decode(plan, unit, kind, old.Payload, old.Received)[0]
            : new Decoded.Refused(RefusalReason.UnknownUnit, "no site's file names this unit", old.Payload);

    private static RefusedEntry RefusalOf(OldMessage old, Decoded.Refused refused) => new(
        old.Unit, true, $"{FieldMessageDecoder.TopicPrefix}{old.Unit}/{old.Kind}", refused.Json, refused.Reason, refused.Detail, old.Received);
}
