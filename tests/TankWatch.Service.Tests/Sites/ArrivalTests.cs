using System.Globalization;
using System.IO.Compression;
using System.Text;
using System.Text.Json;
using CsCheck;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Findings;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Ingest;
using TankWatch.Service.Storage;
using TankWatch.Simulator;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

/// <summary>
/// The property that pays for the store: what is known depends on the set of messages, not on how they came. It is held against the
/// judgement alone, walked once over the messages in order.
/// </summary>
public sealed class ArrivalTests(ITestOutputHelper output)
{
    private static readonly DateTimeOffset Start = new(2026, 3, 2, 0, 0, 0, TimeSpan.Zero);

    private static int Cases => int.TryParse(Environment.GetEnvironmentVariable("TANKWATCH_TEST_CASES"), CultureInfo.InvariantCulture, out var cases) ? cases : 500;

    private static string? Seed => Environment.GetEnvironmentVariable("TANKWATCH_TEST_SEED");

    public static TheoryData<string> Recordings =>
        [.. Directory.EnumerateDirectories(Path.Combine(AppContext.BaseDirectory, "Data", "hydraulics")).Select(Path.GetFileName).OfType<string>().Order()];

    [Fact]
    public async Task Any_shuffle_duplication_batching_folding_and_restart_gives_the_same_findings_runs_days_and_rows() =>
        await Gen.Int.SampleAsync(HoldsAsync, iter: Cases, seed: Seed, threads: 2, writeLine: output.WriteLine, print: seed => $"case {seed}");

    [Theory]
    [MemberData(nameof(Recordings))]
    public async Task A_recording_of_a_solved_water_system_gives_the_same_with_duplicates_jitter_and_a_backlog_of_six_hours(string name)
    {
        var folder = Path.Combine(AppContext.BaseDirectory, "Data", "hydraulics", name);
        var json = await File.ReadAllTextAsync(Path.Combine(folder, "site.json"), TestContext.Current.CancellationToken);
        var messages = Recorded(Path.Combine(folder, "recording.jsonl.gz"));
        var random = new Random(name.Length + messages.Count);
        var backlogAt = messages[0].At + ((messages[^1].At - messages[0].At) / 2);
        var arriving = messages.Concat(messages.Where(_ => random.Next(20) == 0))
            .OrderBy(message => message.At >= backlogAt && message.At < backlogAt.AddHours(6) ? backlogAt.AddHours(6 + random.NextDouble()) : message.At.AddSeconds(20 * random.NextDouble()));
        await HoldsAsync(SampleSite.Plan(json), json, messages[^1].At.AddMinutes(1), [.. arriving.Select(message => message.Sent)], random, mostAtOnce: 4000);
    }

    private static Task HoldsAsync(int seed)
    {
        var random = new Random(seed);
        var building = TankWatch.Simulator.Estate.Buildings[random.Next(TankWatch.Simulator.Estate.Buildings.Length)];
        var plan = SampleSite.Plan(building.SiteFile);
        var (history, watched) = (TimeSpan.FromHours(random.Next(3, 60)), TimeSpan.FromHours(12 * random.NextDouble()));
        var site = building.Begin(plan, (ulong)seed, Start + history, history);
        var messages = site.Advance(Start + history + watched).Where(message => message.PayloadJson.Contains("\"seq\"", StringComparison.Ordinal)).ToArray();
        var arriving = messages.Concat(messages.Where(_ => random.Next(8) == 0)).OrderBy(Arrival(random, history)).Select(message => (message.Topic, message.PayloadJson));
        return HoldsAsync(plan, building.SiteFile, Start + history + watched + TimeSpan.FromMinutes(1), [.. arriving], random, mostAtOnce: 200);
    }

    /// <summary>One of the ways in which messages come: in no order at all, newest first, with some jitter, or one unit's or one day's after all others.</summary>
    private static Func<SimulatedMessage, long> Arrival(Random random, TimeSpan history)
    {
        var from = Start + (history * random.NextDouble());
        return random.Next(5) switch
        {
            0 => _ => random.NextInt64(),
            1 => message => -message.SentAt.UtcTicks,
            2 => message => message.SentAt.AddSeconds(20 * random.NextDouble()).UtcTicks,
            3 => message => message.SentAt.UtcTicks + (string.CompareOrdinal(message.Unit.Value, "n") > 0 ? TimeSpan.TicksPerDay * 30 : 0),
            _ => message => message.SentAt.UtcTicks + (message.SentAt > from && message.SentAt < from.AddHours(8) ? TimeSpan.TicksPerDay * 30 : 0),
        };
    }

    private static async Task HoldsAsync(
        SitePlan plan, string json, DateTimeOffset end, (string Topic, string Payload)[] arriving, Random random, int mostAtOnce)
    {
        await using var arrived = await Arrived.LiveAsync(json, end, arriving, random, mostAtOnce);
        var expected = Judged.InOrder(plan, arriving.SelectMany(sent => Decode(plan, sent, end)), arrived.TickedTo);
        Assert.NotEmpty(expected.Rows);
        Assert.Equal(expected.Rows, arrived.Rows(plan));
        Assert.Equal(expected.Runs, arrived.Runs(plan));
        Assert.Equal(expected.Days, arrived.Days(plan));
        Assert.Equal(expected.Findings.Where(finding => !arrived.HasLivedThrough(finding)).Select(StoredJson.Write).Order(StringComparer.Ordinal), arrived.Findings());
    }

    private static IEnumerable<Observation> Decode(SitePlan plan, (string Topic, string Payload) sent, DateTimeOffset received)
    {
        Assert.True(FieldMessageDecoder.TryReadTopic(sent.Topic, out var unit, out var kind, out _));
        return FieldMessageDecoder.Decode(plan, plan.FindUnit(unit)!, kind, Encoding.UTF8.GetBytes(sent.Payload), received).OfType<Decoded.Accepted>().Select(accepted => accepted.Seen);
    }

    private static List<(DateTimeOffset At, (string Topic, string Payload) Sent)> Recorded(string file)
    {
        using var reader = new StreamReader(new GZipStream(File.OpenRead(file), CompressionMode.Decompress));
        var messages = new List<(DateTimeOffset, (string, string))>();
        while (reader.ReadLine() is { } line)
        {
            var message = JsonSerializer.Deserialize<JsonElement>(line);
            var payload = message.GetProperty("payload");
            messages.Add((payload.GetProperty("at").GetDateTimeOffset(), (message.GetProperty("topic").GetString()!, payload.GetRawText())));
        }

        return messages;
    }

    /// <summary>What the judgement makes of the messages, each once, in order.</summary>
    private sealed record Judged(IReadOnlyList<Observation> Rows, IReadOnlyList<string> Runs, IReadOnlyList<string> Days, IReadOnlyList<Finding> Findings)
    {
        public static Judged InOrder(SitePlan plan, IEnumerable<Observation> seen, DateTimeOffset tickTo)
        {
            var rows = seen.DistinctBy(o => (o.Stamp.Unit, o.Stamp.Boot, o.Stamp.Seq)).Order(Observation.Order).ToList();
            var state = SiteState.Start(plan);
            var (runs, days, findings) = (new List<PumpRun>(), new SortedDictionary<DateOnly, SiteDay>(), new Dictionary<(FindingKind, DeviceId, DateTimeOffset), Finding>());
            foreach (var input in rows.Select(row => (SiteInput)new Observed(row)).Append(new Ticked(tickTo)))
            {
                var judged = SiteStep.Judge(state, input, plan);
                state = judged.Next;
                runs.AddRange(judged.Runs);
                judged.Days.ToList().ForEach(day => days[day.Date] = day);
                judged.Findings.ToList().ForEach(finding => findings[(finding.Kind, finding.Device, finding.RaisedAt)] = finding);
            }

            return new(
                rows, [.. runs.OrderBy(run => run.StartedAt).ThenBy(run => run.Pump.Value, StringComparer.Ordinal).Select(StoredJson.Write)],
                [.. days.Values.Select(StoredJson.Write)], [.. findings.Values]);
        }
    }

    /// <summary>A service through which the messages went, some at a time, with restarts and folds in between.</summary>
    private sealed class Arrived : IAsyncDisposable
    {
        private Rig rig;

        private Arrived(Rig rig) => this.rig = rig;

        private IEnumerable<Alert> Alerts => rig.Ledger.ListAlerts(new(rig.Directory.Sites.Single().Plan.Id, null, null, null, null), null, 10_000)
            .Where(alert => alert.Finding.Scope == FindingScope.Water && alert.Correction != AlertCorrection.Withdrawn);

        public DateTimeOffset TickedTo => rig.Directory.Sites.Single().State.TickedTo;

        public static async Task<Arrived> LiveAsync(string json, DateTimeOffset end, (string Topic, string Payload)[] arriving, Random random, int mostAtOnce)
        {
            var arrived = new Arrived(Rig.New(new Microsoft.Extensions.Time.Testing.FakeTimeProvider(end)));
            Assert.Null(arrived.rig.Put(json));
            await arrived.rig.StartAsync();
            for (var i = 0; i < arriving.Length;)
            {
                var batch = arriving.Skip(i).Take(random.Next(1, mostAtOnce + 1)).ToList();
                i += batch.Count;
                await Task.WhenAll(batch.Select(sent => arrived.rig.Inbox.ReceiveAsync(
                    new ReceivedMessage(sent.Topic, Encoding.UTF8.GetBytes(sent.Payload), false, end), CancellationToken.None)));
                await arrived.DisturbAsync(random);
            }

            await arrived.rig.PassAsync(TimeSpan.FromMinutes(2), TimeSpan.FromSeconds(10));
            return arrived;
        }

        public IReadOnlyList<Observation> Rows(SitePlan plan) => rig.Series.ReadFrom(plan, DateTimeOffset.MinValue);

        public IReadOnlyList<string> Runs(SitePlan plan) => [.. rig.Series.ListRuns(plan.Id, DateTimeOffset.MinValue, DateTimeOffset.MaxValue).Select(StoredJson.Write)];

        public IReadOnlyList<string> Days(SitePlan plan) => [.. rig.Series.ListDays(plan.Id, DateOnly.MinValue, DateOnly.MaxValue).Select(StoredJson.Write)];

        public IReadOnlyList<string> Findings() => [.. Alerts.Select(alert => StoredJson.Write(alert.Finding)).Order(StringComparer.Ordinal)];

        /// <summary>What comes back before anybody has acknowledged it is the same alert again: that tells of the last time only.</summary>
        public bool HasLivedThrough(Finding finding) => Alerts.Any(alert => alert.Finding.Kind == finding.Kind && alert.Finding.Device == finding.Device
            && alert.FirstRaisedAt <= finding.RaisedAt && finding.RaisedAt < alert.Finding.RaisedAt);

        public async ValueTask DisposeAsync() => await rig.DisposeAsync();

        private async Task DisturbAsync(Random random)
        {
            switch (random.Next(12))
            {
                case 0:
                    await rig.StopAsync();
                    rig = rig.Again();
                    await rig.StartAsync();
                    break;
                case 1 when rig.Series.Fold.IsWanted:
                    await rig.FoldAsync();
                    break;
                case 2:
                    await rig.PassAsync(TimeSpan.FromSeconds(random.Next(1, 20)), TimeSpan.FromSeconds(1));
                    break;
            }
        }
    }
}
