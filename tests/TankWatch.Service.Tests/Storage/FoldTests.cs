using System.Text;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Service.Storage;
using TankWatch.Service.Storage.Series;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

/// <summary>The journal and what it is folded into: readers see one series, whatever stands where.</summary>
public sealed class FoldTests(ITestOutputHelper output)
{
    private static readonly SitePlan Plan = SampleSite.Plan(SampleSite.Json());

    [Fact]
    public async Task What_is_read_is_the_same_before_and_after_folding_and_after_a_restart()
    {
        await using var rig = Stored();
        var random = Seeded();
        var entries = Shuffled(random, 6000);
        var expected = entries.Select(entry => entry.Accepted.Seen).Order(Observation.Order).ToList();
        foreach (var (part, n) in entries.Chunk(700).Select((part, n) => (part, n)))
        {
            Append(rig.Series, part);
            if (n % 3 == 1)
            {
                Fold(rig.Series, rig.Series.Position - 1);
            }
        }

        Assert.Equal(expected, rig.Series.ReadFrom(Plan, DateTimeOffset.MinValue));
        Fold(rig.Series, rig.Series.Position);
        Assert.Equal(expected, rig.Series.ReadFrom(Plan, DateTimeOffset.MinValue));
        var half = Rig.Noon.AddDays(-1);
        Assert.Equal(expected.Where(seen => seen.Stamp.At >= half), rig.Series.ReadFrom(Plan, half));

        var again = new SeriesStore(rig.Database);
        again.Open();
        Assert.Equal(expected, again.ReadFrom(Plan, DateTimeOffset.MinValue));
    }

    [Fact]
    public async Task A_message_that_was_taken_is_known_again_wherever_it_lies_and_after_a_restart()
    {
        await using var rig = Stored();
        var random = Seeded();
        var entries = Shuffled(random, 2000);
        Append(rig.Series, entries[..1000]);
        Fold(rig.Series, rig.Series.Position);
        Append(rig.Series, entries[1000..1500]);

        var again = new SeriesStore(rig.Database);
        again.Open();
        foreach (var series in new[] { rig.Series, again })
        {
            Assert.DoesNotContain(true, series.Stage([.. entries[..1500]]).IsNew);
        }

        Assert.DoesNotContain(false, again.Stage([.. entries[1500..]]).IsNew);
    }

    [Fact]
    public async Task A_batch_that_the_store_does_not_take_is_staged_once_and_written_later()
    {
        await using var rig = Stored();
        var entries = Shuffled(Seeded(), 50);
        var staged = rig.Series.Stage(entries);
        rig.Database.Write(c => c.Execute("ALTER TABLE journal RENAME TO away"));
        Assert.ThrowsAny<Microsoft.Data.Sqlite.SqliteException>(() => rig.Series.Commit(staged, []));
        Assert.Empty(rig.Series.ReadFrom(Plan, DateTimeOffset.MinValue));
        rig.Database.Write(c => c.Execute("ALTER TABLE away RENAME TO journal"));
        rig.Series.Commit(staged, []);
        Assert.Equal(50, rig.Series.ReadFrom(Plan, DateTimeOffset.MinValue).Count);
    }

    [Fact]
    public async Task A_fold_that_is_cut_short_is_done_again_and_nothing_is_twice()
    {
        await using var rig = Stored();
        var entries = Shuffled(Seeded(), 500);
        Append(rig.Series, entries);
        rig.Database.Write(c => c.Execute("CREATE TRIGGER stop BEFORE DELETE ON journal BEGIN SELECT RAISE(ABORT, 'cut short'); END"));
        Assert.ThrowsAny<Microsoft.Data.Sqlite.SqliteException>(() => Fold(rig.Series, rig.Series.Position));
        Assert.Equal(500, rig.Series.ReadFrom(Plan, DateTimeOffset.MinValue).Count);
        rig.Database.Write(c => c.Execute("DROP TRIGGER stop"));

        var again = new SeriesStore(rig.Database);
        again.Open();
        Fold(again, again.Position);
        Assert.Equal(500, again.ReadFrom(Plan, DateTimeOffset.MinValue).Count);
        Assert.Equal(500L, rig.Database.Read(c => c.Scalar("SELECT sum(rows) FROM blocks")));
    }

    [Fact]
    public async Task A_day_of_many_rows_becomes_several_blocks_in_order()
    {
        await using var rig = Stored();
        var entries = Enumerable.Range(0, 3 * SeriesBlocks.MostRows).Select(seq => Entry(Rig.Noon.AddDays(-1).AddSeconds(seq), seq)).ToArray();
        Seeded().Shuffle(entries);
        foreach (var part in entries.Chunk(1000))
        {
            Append(rig.Series, part);
            Fold(rig.Series, rig.Series.Position);
        }

        Assert.InRange((long)rig.Database.Read(c => c.Scalar("SELECT count(*) FROM blocks"))!, 3, 8);
        Assert.InRange((long)rig.Database.Read(c => c.Scalar("SELECT max(rows) FROM blocks"))!, 1, SeriesBlocks.MostRows);
        Assert.Equal(entries.Select(entry => entry.Accepted.Seen).Order(Observation.Order), rig.Series.ReadFrom(Plan, DateTimeOffset.MinValue));
    }

    [Fact]
    public async Task A_message_in_order_costs_no_more_than_thirty_bytes_folded()
    {
        await using var rig = Stored();
        var entries = Enumerable.Range(0, 24 * 60).Select(seq => Entry(Rig.Noon.AddDays(-1).AddMinutes(seq).AddMilliseconds(seq * 7 % 1000), seq)).ToArray();
        Append(rig.Series, entries);
        Fold(rig.Series, rig.Series.Position);
        var bytes = (long)rig.Database.Read(c => c.Scalar("SELECT sum(length(data) + 12) FROM blocks"))!;
        Assert.InRange(bytes / (double)entries.Length, 1, 30);
    }

    [Fact]
    public async Task Damage_is_found_and_said_in_one_line()
    {
        await using var rig = Stored();
        Append(rig.Series, Shuffled(Seeded(), 100));
        Fold(rig.Series, rig.Series.Position);
        rig.Database.Write(c => c.Execute("UPDATE blocks SET data = substr(data, 1, 20) || x'00' || substr(data, 22)"));
        var fault = Assert.Throws<StoreException>(() => rig.Series.ReadFrom(Plan, DateTimeOffset.MinValue));
        Assert.Contains("checksum", fault.Message, StringComparison.Ordinal);
    }

    private static void Fold(SeriesStore series, long position)
    {
        Assert.All(series.Fold.Rows(position), rows => Assert.True(rows > 0));
        Assert.True(series.Fold.Counts(position, isFirst: true));
    }

    private Random Seeded()
    {
        var seed = int.TryParse(Environment.GetEnvironmentVariable("TANKWATCH_TEST_SEED"), out var given) ? given : Environment.TickCount;
        output.WriteLine($"seed {seed}");
        return new Random(seed);
    }

    private static Rig Stored()
    {
        var rig = Rig.New();
        Assert.Null(rig.Put(SampleSite.Json()));
        return rig;
    }

    private static void Append(SeriesStore series, JournalEntry[] entries) => series.Commit(series.Stage(entries), []);

    /// <summary>Messages of three days of all kinds; some count, some do not.</summary>
    private static JournalEntry[] Shuffled(Random random, int count)
    {
        var entries = Enumerable.Range(0, count).Select(n => Any(random, n)).ToArray();
        random.Shuffle(entries);
        return entries;
    }

    private static JournalEntry Any(Random random, int n)
    {
        var at = Rig.Noon.AddDays(-3 * random.NextDouble());
        var stamp = new Stamp(new("fu-1"), at, at.AddSeconds(random.Next(9)), random.Next(9) == 0 ? null : at, 1 + (n % 3), random.Next(5) == 0 ? null : n);
        return random.Next(5) switch
        {
            0 => Entry(new PumpObservation(stamp, 0, n % 2 == 0, (PumpCause)(n % 10), n % 3 == 0 ? null : n % 3 == 1, 230.5, n % 2 == 0 ? null : 3.14159, 746)),
            1 => Entry(new InletObservation(stamp, 0, n % 2 == 0)),
            2 => Entry(new SupplyObservation(stamp, n % 2 == 0, n % 4 == 0 ? null : 219.25)),
            3 => Entry(new StatusObservation(stamp, n % 2 == 0, n % 3 == 0 ? null : "1.2 é", -71.5, n % 5 == 0 ? null : 99)),
            _ => Entry(new LevelObservation(stamp, n % 2, n % 8)),
        };
    }

    private static JournalEntry Entry(DateTimeOffset at, int seq) =>
        Entry(new LevelObservation(new(new("fu-1"), at, at.AddMilliseconds(350), at, 1, seq), 1, seq % 8));

    private static JournalEntry Entry(Observation seen) => new(Plan, new(seen, default, Kind(seen), Encoding.UTF8.GetBytes("{}")), Retained: false);

    private static MessageKind Kind(Observation seen) => seen switch
    {
        LevelObservation => MessageKind.Level,
        PumpObservation => MessageKind.Pump,
        InletObservation => MessageKind.Inlet,
        SupplyObservation => MessageKind.Supply,
        _ => MessageKind.Status,
    };
}
