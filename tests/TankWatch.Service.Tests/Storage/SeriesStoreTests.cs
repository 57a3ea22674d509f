using System.Text;
using TankWatch.Core;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Observations;
using TankWatch.Service.Storage;
using TankWatch.Service.Storage.Series;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

public sealed class SeriesStoreTests(ITestOutputHelper output)
{
    [Fact]
    public async Task Messages_read_back_in_the_order_of_their_times_to_the_last_tick_however_they_came()
    {
        await using var rig = Rig.New();
        var plan = SampleSite.Plan(SampleSite.Json());
        var seed = Environment.TickCount;
        output.WriteLine($"seed {seed}");
        var random = new Random(seed);
        var entries = Enumerable.Range(0, 300).Select(seq => Entry(Rig.Noon.AddTicks(random.Next(40)), seq)).ToArray();
        random.Shuffle(entries);
        Append(rig, entries);
        var expected = entries.Select(entry => entry.Accepted.Seen).Order(Observation.Order).Select(seen => seen.Stamp);
        Assert.Equal(expected, rig.Series.ReadFrom(plan, DateTimeOffset.MinValue).Order(Observation.Order).Select(seen => seen.Stamp));
        var half = Rig.Noon.AddTicks(20);
        Assert.Equal(expected.Where(stamp => stamp.At >= half), rig.Series.ReadFrom(plan, half).Order(Observation.Order).Select(seen => seen.Stamp));
    }

    [Fact]
    public async Task Steps_are_paged_newest_first_and_none_is_lost_or_twice()
    {
        await using var rig = Rig.New();
        var plan = SampleSite.Plan(SampleSite.Json());
        Append(rig, [.. Enumerable.Range(0, 25).Select(seq => Entry(Rig.Noon.AddSeconds(seq / 3), seq))]);
        var (all, after) = (new List<StoredStep>(), (string?)null);
        while (rig.Series.ListSteps(plan, Rig.Noon, Rig.Noon.AddHours(1), after, 4) is { Count: > 0 } page)
        {
            all.AddRange(page);
            after = page[^1].Cursor;
        }

        Assert.Equal(25, all.Select(step => step.Cursor).Distinct().Count());
        Assert.Equal(25, all.Count);
        Assert.Equal(all.OrderByDescending(step => step.At).Select(step => step.At), all.Select(step => step.At));
        Assert.Empty(rig.Series.ListSteps(plan, Rig.Noon.AddHours(1), Rig.Noon.AddHours(2), null, 4));
    }

    [Fact]
    public async Task Nobody_fills_the_disk_with_nonsense()
    {
        await using var rig = Rig.New();
        RefusedEntry Nonsense(string unit, bool known, int n) => new(
            new UnitId(unit), known, $"tankwatch/v1/{unit}/level", Encoding.UTF8.GetBytes($"{n}"), RefusalReason.MalformedJson, "not JSON", Rig.Noon);
        rig.Database.Write(c => SeriesStore.Keep(c, [Nonsense("fu-1", true, 0)]));
        rig.Database.Write(c => SeriesStore.Keep(c, [.. Enumerable.Range(0, SeriesStore.RefusalsKept + 20).Select(n => Nonsense($"stranger-{n % 7}", false, n))]));
        Assert.Equal(SeriesStore.RefusalsKept + 1L, rig.Database.Read(c => c.Scalar("SELECT count(*) FROM refused")));
        Assert.Equal(1, rig.Series.CountRefused(new UnitId("fu-1")));
        var newest = (SeriesStore.RefusalsKept + 19) % 7;
        Assert.Equal($"{SeriesStore.RefusalsKept + 19}", Encoding.UTF8.GetString(rig.Series.ListRefused(new UnitId($"stranger-{newest}"), null, 1)[0].Payload));
    }

    private static void Append(Rig rig, JournalEntry[] entries)
    {
        Assert.Null(rig.Put(SampleSite.Json()));
        rig.Series.Commit(rig.Series.Stage(entries), []);
    }

    private static JournalEntry Entry(DateTimeOffset at, int seq)
    {
        var plan = SampleSite.Plan(SampleSite.Json());
        var json = Encoding.UTF8.GetBytes(SampleSite.Level(at, "roof", "110", seq));
        return new(plan, (Decoded.Accepted)FieldMessageDecoder.Decode(plan, plan.Units[0], MessageKind.Level, json, Rig.Noon.AddMinutes(1))[0], Retained: false);
    }
}
