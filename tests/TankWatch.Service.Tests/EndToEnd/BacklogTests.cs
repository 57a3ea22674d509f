using System.Diagnostics;
using System.Globalization;
using System.Text;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Findings;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;
using TankWatch.Service.Ingest;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>In real time: one unit brings a week at once while the other sites live on and have faults of their own.</summary>
public sealed class BacklogTests(ITestOutputHelper output)
{
    private const int Backlog = 50_000;
    private const int Houses = 20;
    private static readonly TimeSpan Week = TimeSpan.FromDays(7);
    private static readonly TimeSpan MostLate = TimeSpan.FromSeconds(5);

    /// <summary>A power failure is one after a minute (decision 0004); it is sent when that minute is nearly over.</summary>
    private static readonly TimeSpan DueAfter = TimeSpan.FromSeconds(60);
    private static readonly TimeSpan SentAfter = TimeSpan.FromSeconds(58);

    [Fact]
    public async Task A_unit_back_after_a_week_corrects_the_past_pages_nobody_about_it_and_delays_no_other_site()
    {
        await using var rig = Rig.New(TimeProvider.System);
        var json = SampleSite.Json();
        Assert.Null(rig.Put(json));
        List<House> houses = [.. Enumerable.Range(1, Houses).Select(number => new House(rig, number))];
        await rig.StartAsync();
        using var enough = new CancellationTokenSource();
        var talking = Task.Run(() => TalkAsync(houses, enough.Token), CancellationToken.None);

        // Once the first is told, all have caught up with their start.
        houses[0].IsToFail = true;
        await Eventually.Holds(() => AlertOf(rig, houses[0])?.NotifiedAt is not null, "the first house's alert");
        var (plan, end) = (SampleSite.Plan(json), TimeProvider.System.GetUtcNow());
        var messages = Messages(end);
        var started = Stopwatch.GetTimestamp();
        var sending = Task.Run(() => SendAsync(rig, messages), CancellationToken.None);
        foreach (var house in houses.Skip(1))
        {
            house.IsToFail = true;
            await Task.Delay(TimeSpan.FromMilliseconds(300), TestContext.Current.CancellationToken);
        }

        await sending;
        var taken = Stopwatch.GetElapsedTime(started);
        await Eventually.Holds(() => houses.TrueForAll(house => AlertOf(rig, house)?.NotifiedAt is not null), "the alerts of all houses", TimeSpan.FromSeconds(60));
        var expected = Walked.InOrder(plan, messages, end);
        await Eventually.Holds(
            () => expected.Runs.SequenceEqual(rig.Series.ListRuns(plan.Id, DateTimeOffset.MinValue, DateTimeOffset.MaxValue).Select(StoredJson.Write)),
            "the runs of the week", TimeSpan.FromSeconds(60));
        var known = Stopwatch.GetElapsedTime(started);
        await enough.CancelAsync();
        await talking;

        var late = houses.ConvertAll(house => AlertOf(rig, house)!.CreatedAt - (house.FailedAt + DueAfter));
        output.WriteLine($"taken in {taken.TotalSeconds:0.0} s, known after {known.TotalSeconds:0.0} s; the other sites' alerts at most {late.Max().TotalSeconds:0.0} s late");
        Assert.All(late, by => Assert.InRange(by, TimeSpan.FromSeconds(-1), MostLate));
        Assert.Equal(Backlog, rig.Series.ReadFrom(plan, DateTimeOffset.MinValue).Count);
        Assert.Equal(expected.Days, rig.Series.ListDays(plan.Id, DateOnly.MinValue, expected.LastDay.AddDays(-1)).Select(StoredJson.Write));
        var past = rig.Ledger.ListAlerts(new(plan.Id, null, null, null, null), null, 100);
        Assert.Equal(expected.Findings, past.Where(alert => !alert.Finding.IsOpen).Select(alert => Walked.Told(alert.Finding)).Order(StringComparer.Ordinal));
        Assert.Contains(past, alert => alert.Finding.Kind == FindingKind.PowerFailure);
        Assert.Contains(past, alert => alert.Finding.Kind == FindingKind.OverloadTrips);
        Assert.DoesNotContain(rig.Ledger.ListOutbox(null, 1000), letter => letter.Letter.Notification.Alert.Site == plan.Id);
    }

    private static Alert? AlertOf(Rig rig, House house) =>
        rig.Ledger.ListAlerts(new(new SiteId(house.Site), null, null, null, null), null, 10).FirstOrDefault(alert => alert.Finding.Kind == FindingKind.PowerFailure);

    private static async Task TalkAsync(List<House> houses, CancellationToken enough)
    {
        using var timer = new PeriodicTimer(TimeSpan.FromMilliseconds(250));
        while (!enough.IsCancellationRequested && await timer.WaitForNextTickAsync(CancellationToken.None))
        {
            await Task.WhenAll(houses.Select(house => house.SpeakAsync()));
        }
    }

    /// <summary>As a broker hands over what it kept: one after the other, without waiting for any.</summary>
    private static async Task SendAsync(Rig rig, List<(string Kind, string Json)> messages)
    {
        foreach (var (kind, json) in messages[..^1])
        {
            await rig.Inbox.TakeInAsync(Received(kind, json), null, CancellationToken.None);
        }

        await rig.Inbox.ReceiveAsync(Received(messages[^1].Kind, messages[^1].Json), CancellationToken.None);

        static ReceivedMessage Received(string kind, string json) =>
            new($"tankwatch/v1/fu-1/{kind}", Encoding.UTF8.GetBytes(json), false, TimeProvider.System.GetUtcNow());
    }

    /// <summary>A week of one site: every two hours the roof is filled and drawn down; the mains fail once, and the pump trips twice.</summary>
    private static List<(string Kind, string Json)> Messages(DateTimeOffset end) => [.. Enumerable.Range(0, Backlog).Select(i =>
    {
        var (at, seq, phase) = (end - Week + (Week * i / Backlog), i + 1L, i % 600);
        var roof = phase switch { < 40 => "000", < 110 => "100", < 180 => "110", < 300 => "111", < 420 => "110", _ => "100" };
        return (i, phase) switch
        {
            (0, _) or (15_260, _) => ("supply", SampleSite.Supply(at, mains: true, seq)),
            (15_200, _) => ("supply", SampleSite.Supply(at, mains: false, seq)),
            (30_250 or 30_254, _) => ("pump", SampleSite.Pump(at, running: true, seq, "manual")),
            (30_252 or 30_256, _) => ("pump", SampleSite.Pump(at, running: false, seq, "overload")),
            (_, 1) => ("pump", SampleSite.Pump(at, running: true, seq)),
            (_, 181) => ("pump", SampleSite.Pump(at, running: false, seq)),
            _ when phase % 2 == 0 => ("level", SampleSite.Level(at, "roof", roof, seq)),
            _ => ("level", SampleSite.Level(at, "sump", "111", seq)),
        };
    })];

    /// <summary>A site that lives.</summary>
    private sealed class House(Rig rig, int number)
    {
        private readonly FieldUnit unit = Put(rig, new FieldUnit(number));
        private long seq;

        public string Site => unit.Site;

        /// <summary>Its mains fail at its next word.</summary>
        public volatile bool IsToFail;

        public DateTimeOffset FailedAt { get; private set; }

        public async Task SpeakAsync()
        {
            var now = TimeProvider.System.GetUtcNow();
            if (IsToFail && FailedAt == default)
            {
                FailedAt = now - SentAfter;
                await rig.SendAsync("supply", SampleSite.Supply(FailedAt, mains: false, ++seq), unit.Id);
            }

            await rig.SendAsync("level", SampleSite.Level(now, "roof", "110", ++seq), unit.Id);
        }

        private static FieldUnit Put(Rig rig, FieldUnit unit)
        {
            Assert.Null(rig.Put(unit.SiteJson));
            return unit;
        }
    }

    /// <summary>What the judgement alone makes of the messages, walked once in order.</summary>
    private sealed record Walked(IReadOnlyList<string> Runs, IReadOnlyList<string> Days, DateOnly LastDay, IReadOnlyList<string> Findings)
    {
        public static Walked InOrder(SitePlan plan, IEnumerable<(string Kind, string Json)> messages, DateTimeOffset received)
        {
            var recording = new Recording(plan);
            foreach (var (kind, json) in messages)
            {
                recording.Add($$"""{"received":"{{SampleSite.At(received)}}","topic":"tankwatch/v1/fu-1/{{kind}}","payload":{{json}}}""");
            }

            var result = Replay.Run(plan, recording);
            return new(
                [.. result.Runs.Where(run => run.StoppedAt is not null).Select(StoredJson.Write)], [.. result.Days[..^1].Select(StoredJson.Write)], result.Days[^1].Date,
                [.. result.Findings.Where(finding => !finding.IsOpen).Select(Told).Order(StringComparer.Ordinal)]);
        }

        public static string Told(Finding finding) => string.Create(CultureInfo.InvariantCulture, $"{finding.Kind} {finding.Device} {finding.Since:O} {finding.RaisedAt:O} {finding.ClearedAt:O}");
    }
}
