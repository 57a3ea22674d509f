using System.Buffers;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Storage.Series;
using TankWatch.Service.Tests.Sites;
using Stream = TankWatch.Service.Storage.Series.Stream;

namespace TankWatch.Service.Tests.Figures;

/// <summary>
/// A store as years of service leave it, made by the fold's own code and not by a broker: each site has a roof tank, a sump, a pump and one
/// unit, and a month of messages at even distances. The last day of each is judged, so that every site is marked as a running service marks it.
/// </summary>
internal sealed class BigStore(string folder, int sites, int rowsPerSite) : IDisposable
{
    public const int Days = 30;
    private const int SitesAtOnce = 25;

    private readonly BlockMerger merger = new();
    private readonly Database database = new(new DataOptions { Path = folder });

    public static DateTimeOffset End { get; } = new(2026, 11, 1, 0, 0, 0, TimeSpan.Zero);

    public Database Database => database;

    public static SitePlan PlanOf(int site) => SampleSite.Plan(SampleSite.Json($"site-{site:000000}", $"fu-{site:000000}"));

    public void Fill()
    {
        for (var first = 0; first < sites; first += SitesAtOnce)
        {
            database.Write(connection =>
            {
                for (var site = first; site < Math.Min(first + SitesAtOnce, sites); site++)
                {
                    Put(connection, site);
                }
            });
        }
    }

    public void Dispose() => database.Dispose();

    private void Put(SqliteConnection connection, int number)
    {
        var json = SampleSite.Json($"site-{number:000000}", $"fu-{number:000000}");
        var plan = SampleSite.Plan(json);
        connection.Execute("INSERT INTO sites (id, json, updated) VALUES (?1, ?2, ?3)", plan.Id, json, End);
        connection.Execute("INSERT INTO units (id, site) VALUES (?1, ?2)", plan.Units[0].Id, plan.Id);
        var (rows, counts, follower) = (new Dictionary<Stream, List<SeriesRow>>(), new UnitCounts(plan.Units[0].Id), new SiteFollower(plan));
        var content = new PackedWriter();
        var lastDay = new List<Observation>();
        for (var i = 0; i < rowsPerSite; i++)
        {
            var entry = new JournalEntry(plan, new(Seen(plan, i), default, KindOf(i), default), Retained: false);
            content.Clear();
            RowContent.Write(content, entry.Accepted.Seen, plan);
            (rows.TryGetValue(entry.Stream, out var of) ? of : rows[entry.Stream] = []).Add(StagedBatch.RowOf(entry, content.Memory.ToArray()));
            counts.Add(1, i, (_, _) => null);
            if (End - entry.Accepted.Seen.Stamp.At <= TimeSpan.FromDays(1))
            {
                lastDay.Add(entry.Accepted.Seen);
            }
        }

        foreach (var (stream, of) in rows)
        {
            var id = (int)(long)connection.Scalar(
                "INSERT INTO streams (site, unit, kind, device) VALUES (?1, ?2, ?3, ?4) RETURNING id",
                stream.Site, stream.Unit, FieldMessageDecoder.NameOf(stream.Kind), stream.Device)!;
            merger.Merge(connection, id, of);
        }

        counts.Save(connection);
        follower.Take(lastDay, new Nothing());
        var state = new ArrayBufferWriter<byte>();
        SiteStateCodec.Write(follower.State, plan, state);
        SeriesStore.Save(connection, plan.Id, new(0, [new(plan.Units[0].Id, rowsPerSite, End, End, true, "1.2", -70, null, 1)], state.WrittenSpan.ToArray()));
    }

    private Observation Seen(SitePlan plan, int i)
    {
        var at = End - (TimeSpan.FromDays(Days) * ((rowsPerSite - i) / (double)rowsPerSite)) is var exact ? new DateTimeOffset(exact.Ticks - (exact.Ticks % TimeSpan.TicksPerMillisecond), TimeSpan.Zero) : default;
        var stamp = new Stamp(plan.Units[0].Id, at, at.AddMilliseconds(120 + (i * 37 % 400)), at, 1, i);
        var phase = i / 5 % 6;
        return (i % 5) switch
        {
            0 or 2 => new LevelObservation(stamp, 1, phase switch { 0 => 0, 1 or 5 => 1, 2 or 4 => 3, _ => 7 }),
            1 => new PumpObservation(stamp, 0, true, PumpCause.Level, false, 229.5 + (i % 7), 3.25, 742),
            3 => new PumpObservation(stamp, 0, false, PumpCause.Level, false, null, null, null),
            _ => new LevelObservation(stamp, 0, i / 40 % 2 == 0 ? 7 : 3),
        };
    }

    private static MessageKind KindOf(int i) => i % 5 is 1 or 3 ? MessageKind.Pump : MessageKind.Level;

    private sealed class Nothing : ISiteRecord
    {
        public IReadOnlyList<Observation> Read(Observation? after, DateTimeOffset from, int limit) => [];
        public SiteState? StateBefore(Observation first) => null;
    }
}
