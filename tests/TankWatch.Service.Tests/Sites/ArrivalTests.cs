using System.Text;
using TankWatch.Service.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

/// <summary>The property that pays for the store: what is known depends on the messages, not on how they came.</summary>
public sealed class ArrivalTests(ITestOutputHelper output)
{
    [Fact]
    public async Task Shuffled_doubled_batched_and_interrupted_messages_give_the_same_runs_days_and_findings()
    {
        var seed = int.TryParse(Environment.GetEnvironmentVariable("TANKWATCH_TEST_SEED"), out var given) ? given : Environment.TickCount;
        output.WriteLine($"seed {seed}");
        var random = new Random(seed);
        var messages = TwoDays(random);
        var inOrder = await ResultAsync([.. messages], restartAt: null);
        var shuffled = messages.Concat(messages.Where(_ => random.Next(5) == 0)).ToArray();
        random.Shuffle(shuffled);
        Assert.Equal(inOrder, await ResultAsync(shuffled, restartAt: random.Next(shuffled.Length)));
    }

    private static List<(string Kind, string Json)> TwoDays(Random random)
    {
        var messages = new List<(string, string)>();
        var (at, seq) = (Rig.Noon.AddDays(-2), 0);
        while (at < Rig.Noon.AddHours(-6)) // A cycle is shorter: a time to come would not be believed.
        {
            foreach (var (kind, json) in Cycle())
            {
                messages.Add((kind, json));
            }
        }

        return messages;

        IEnumerable<(string, string)> Cycle()
        {
            yield return ("level", SampleSite.Level(Next(20, 200), "roof", "100", ++seq));
            yield return ("level", SampleSite.Level(Next(20, 60), "roof", "000", ++seq));
            yield return ("pump", SampleSite.Pump(Next(0, 0), true, ++seq));
            yield return ("level", SampleSite.Level(Next(1, 5), "roof", "100", ++seq));
            yield return ("level", SampleSite.Level(Next(5, 30), "roof", "110", ++seq));
            var dry = random.Next(4) == 0;
            yield return ("pump", SampleSite.Pump(Next(5, 20), false, ++seq, dry ? "dry-run" : "level"));
            yield return ("level", SampleSite.Level(Next(0, 0), "roof", dry ? "110" : "111", ++seq));
            yield return ("supply", SampleSite.Supply(Next(1, 30), random.Next(6) > 0, ++seq));
        }

        DateTimeOffset Next(int from, int to) => at = at.AddSeconds(1 + random.Next(from * 60, to * 60 + 1));
    }

    private static async Task<string> ResultAsync((string Kind, string Json)[] messages, int? restartAt)
    {
        await using var first = await Rig.RunningAsync();
        var rig = first;
        var random = new Random(7);
        for (var i = 0; i < messages.Length;)
        {
            var batch = messages.Skip(i).Take(1 + random.Next(12)).ToList();
            await Task.WhenAll(batch.Select(message => rig.SendAsync(message.Kind, message.Json)));
            i += batch.Count;
            if (restartAt < i)
            {
                restartAt = null;
                await rig.StopAsync();
                rig = rig.Again();
                await rig.StartAsync();
            }
        }

        rig.Clock.SetUtcNow(Rig.Noon.AddMinutes(10));
        await rig.SettleAsync();
        await rig.PassAsync(TimeSpan.FromMinutes(2));
        var plan = SampleSite.Plan(SampleSite.Json());
        var result = new StringBuilder();
        rig.Series.ListRuns(plan.Id, DateTimeOffset.MinValue, DateTimeOffset.MaxValue).ToList().ForEach(run => result.AppendLine(StoredJson.Write(run)));
        rig.Series.ListDays(plan.Id, DateOnly.MinValue, DateOnly.MaxValue).ToList().ForEach(day => result.AppendLine(StoredJson.Write(day)));
        var open = rig.Directory.Find(plan.Id)!.State.OpenFindings.Select(StoredJson.Write).Order(StringComparer.Ordinal);
        result.AppendJoin('\n', open);
        if (rig != first)
        {
            await rig.DisposeAsync();
        }

        Assert.NotEqual("", result.ToString());
        return result.ToString();
    }
}
