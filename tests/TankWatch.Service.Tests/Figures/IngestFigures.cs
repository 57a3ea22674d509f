using System.Diagnostics;
using Microsoft.Data.Sqlite;
using Microsoft.Extensions.Logging.Abstractions;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Load;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Ingest;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Figures;

/// <summary>Not tests: measured when asked for by name, as tests/bench.sh does. Ratios are of one run, and the medians of several count.</summary>
[Collection(nameof(IngestFigures))]
public sealed class IngestFigures
{
    private const int Units = 1000;
    private const int Rate = 20_000;
    private const int Seconds = 15;

    /// <summary>Published as fast as the broker takes them.</summary>
    private const int Flood = 600_000;

    /// <summary>Before what counts: what is compiled and read for the first time.</summary>
    private const int Warming = 100_000;

    /// <summary>As many as keep the broker busy: what measures must leave the processors to what is measured.</summary>
    private const int FloodUnits = 100;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    /// <summary>The shipped configuration, but for where it listens, whom it lets in and where it stores.</summary>
    private static string Shipped => string.Join('\n', File.ReadLines(Path.Combine(AppContext.BaseDirectory, "Deploy", "mosquitto.conf"))
        .Where(line => !new[] { "listener ", "allow_anonymous ", "password_file ", "persistence_location " }.Any(line.StartsWith)));

    [Fact(Explicit = true)]
    public async Task Durable_rate_and_processor_time()
    {
        var runs = await FigureTable.RepeatAsync(async () =>
        {
            var peer = await SubscriberSecondsAsync();
            await using var mosquitto = await Mosquitto.StartedAsync(mustBeOurs: true, configuration: Shipped);
            await using var service = await LoadedService.StartAsync(FloodUnits, mosquitto);
            await service.LoadAsync("--rate", "0", "--seconds", "60", "--messages", $"{Warming}");
            await service.WaitStoredAsync(Warming);
            var (before, began) = (service.Process.Use.Processor, Stopwatch.GetTimestamp());
            await service.LoadAsync("--rate", "0", "--seconds", "600", "--messages", $"{Flood}");
            await service.WaitStoredAsync(Warming + Flood);
            var ours = Stopwatch.GetElapsedTime(began).TotalSeconds;
            return (Ratio: peer / ours, Rate: Flood / ours, Peer: Flood / peer, Micro: (service.Process.Use.Processor - before).TotalMicroseconds / Flood);
        });
        var ratio = FigureTable.Median(runs.Select(run => run.Ratio));
        FigureTable.Add(
            $"Durable rate through mosquitto, {Flood} messages of {FloodUnits} units, rules running, against `mosquitto_sub`, which stores nothing",
            $"{ratio:0.00} ({FigureTable.Median(runs.Select(run => run.Rate)):0}/s against {FigureTable.Median(runs.Select(run => run.Peer)):0}/s)", "at least 0.9", ratio >= 0.9);
        var micro = FigureTable.Median(runs.Select(run => run.Micro));
        FigureTable.Add("· processor time of the service per message, rules included", $"{micro:0.0} µs", "at most 20 µs", micro <= 20);
    }

    [Fact(Explicit = true)]
    public async Task Drain_of_a_queued_session()
    {
        await DrainsAsync(Warming);
        var runs = await FigureTable.RepeatAsync(() => DrainsAsync(Flood));
        var ratio = FigureTable.Median(runs.Select(run => run.Peer / run.Ours));
        FigureTable.Add(
            $"Drain of a queued session, {Flood} messages of {FloodUnits} units, against the same client storing nothing",
            $"{ratio:0.00} ({FigureTable.Median(runs.Select(run => Flood / run.Ours)):0}/s against {FigureTable.Median(runs.Select(run => Flood / run.Peer)):0}/s)", "at least 0.6", ratio >= 0.6);
    }

    [Theory(Explicit = true)]
    [InlineData(true)]
    [InlineData(false)]
    public async Task Publish_to_acknowledgement(bool embedded)
    {
        await using var mosquitto = embedded ? null : await Mosquitto.StartedAsync(mustBeOurs: true, configuration: Shipped);
        await using var service = await LoadedService.StartAsync(Units, mosquitto);
        await service.LoadAsync("--rate", $"{Rate / 2}", "--seconds", "5");
        var runs = await FigureTable.RepeatAsync(() => service.LoadAsync("--rate", $"{Rate}", "--seconds", $"{Seconds}"));
        var p99 = FigureTable.Median(runs.Select(run => run.P99));
        FigureTable.Add(
            $"Publish to acknowledgement, {Rate} messages a second of {Units} units, {(embedded ? "embedded broker: it means durable" : "mosquitto, the service behind it")}",
            $"p99 {p99:0.0} ms, p50 {FigureTable.Median(runs.Select(run => run.P50)):0.0} ms; {runs.Sum(run => run.Errors)} unanswered", "p99 at most 25 ms",
            p99 <= 25 && runs.All(run => run.Errors == 0));
    }

    [Fact(Explicit = true)]
    public async Task Rate_of_the_embedded_broker()
    {
        await using var service = await LoadedService.StartAsync(Units, null);
        await service.LoadAsync("--rate", "0", "--seconds", "5");
        var before = await service.StoredAsync();
        var (processor, runs) = (service.Process.Use.Processor, await FigureTable.RepeatAsync(() => service.LoadAsync("--rate", "0", "--seconds", $"{Seconds}")));
        await service.WaitStoredAsync(before + runs.Sum(run => run.Sent));
        var rate = FigureTable.Median(runs.Select(run => run.Rate));
        FigureTable.Add(
            $"Embedded broker, {Units} connected units, acknowledgement held until durable",
            $"{rate:0}/s, {(service.Process.Use.Processor - processor).TotalMicroseconds / runs.Sum(run => run.Sent):0.0} µs of the service each, {runs.Sum(run => run.Processor.TotalMicroseconds) / runs.Sum(run => run.Sent):0.0} µs of `load`",
            $"at least {Rate}/s", rate >= Rate && runs.All(run => run.Errors == 0));
    }

    [Fact(Explicit = true)]
    public async Task Store_stalled()
    {
        const int StallRate = 5000;
        var minutes = FigureTable.Number("BENCH_STALL_MINUTES", 10);
        await using var mosquitto = await Mosquitto.StartedAsync(mustBeOurs: true, configuration: Shipped);
        await using var service = await LoadedService.StartAsync(Units, mosquitto);
        await service.LoadAsync("--rate", $"{StallRate}", "--seconds", "5");
        await service.WaitStoredAsync(5 * StallRate);
        var loading = service.LoadAsync("--rate", $"{StallRate}", "--seconds", $"{minutes * 60}");
        var most = 0L;
        using (var intruder = new SqliteConnection($"Data Source={service.StoreFile};Pooling=False"))
        {
            intruder.Open();
            using var locked = intruder.BeginTransaction(deferred: false);
            most = await MostMemoryAsync(service, loading);
        }

        var report = await loading;
        most = Math.Max(most, await MostMemoryAsync(service, service.WaitStoredAsync((5 * StallRate) + report.Sent)));
        var stored = await service.StoredAsync() - (5 * StallRate);
        FigureTable.Add(
            $"Store stalled for {minutes} min at {StallRate} messages a second: most resident memory, in the stall and while the backlog is stored after it, and what is stored",
            $"{most / 1024 / 1024} MB; {stored} of {report.Sent}, {report.Errors} unanswered", "at most 512 MB, all", most <= 512L << 20 && stored == report.Sent && report.Errors == 0);
    }

    private static async Task<long> MostMemoryAsync(LoadedService service, Task until)
    {
        var most = 0L;
        while (!until.IsCompleted)
        {
            await Task.WhenAny(until, Task.Delay(TimeSpan.FromMilliseconds(200), Stop));
            most = Math.Max(most, service.Process.Use.ResidentBytes);
        }

        await until;
        return most;
    }

    /// <summary>From the first message to the end of a subscriber that counts them.</summary>
    private static async Task<double> SubscriberSecondsAsync()
    {
        await using var mosquitto = await Mosquitto.StartedAsync(mustBeOurs: true, configuration: Shipped);
        using var subscriber = Process.Start(new ProcessStartInfo("/bin/sh",
            ["-c", $"exec mosquitto_sub -p {mosquitto.Port} -q 1 -V mqttv5 -D connect receive-maximum 65535 -t 'tankwatch/v1/+/+' -C {Warming + Flood} > /dev/null"]))!;
        await LoadedService.LoadAsync(mosquitto.Port, "--rate", "0", "--seconds", "60", "--messages", $"{Warming}", "--units", $"{FloodUnits}");
        var began = Stopwatch.GetTimestamp();
        await LoadedService.LoadAsync(mosquitto.Port, "--rate", "0", "--seconds", "600", "--messages", $"{Flood}", "--units", $"{FloodUnits}");
        await subscriber.WaitForExitAsync(Stop);
        return Stopwatch.GetElapsedTime(began).TotalSeconds;
    }

    /// <returns>Seconds until the same queue is stored, and until it is only acknowledged.</returns>
    private static async Task<(double Ours, double Peer)> DrainsAsync(int count)
    {
        await using var mosquitto = await Mosquitto.StartedAsync(mustBeOurs: true, configuration: Shipped);
        var options = new MqttOptions { Mode = MqttMode.External, Host = mosquitto.Host, Port = mosquitto.Port, ClientId = "storing" };
        var nothing = new MqttOptions { Mode = MqttMode.External, Host = mosquitto.Host, Port = mosquitto.Port, ClientId = "nothing" };
        await using var rig = Rig.New(TimeProvider.System);
        for (var number = 1; number <= FloodUnits; number++)
        {
            rig.Put(new LoadUnit(number, 0).SiteFile());
        }

        await rig.StartAsync();
        await DrainAsync(options, rig.Inbox, 0, Task.CompletedTask);
        await AcknowledgedSecondsAsync(nothing, 0);
        await LoadedService.LoadAsync(mosquitto.Port, "--rate", "0", "--seconds", "600", "--messages", $"{count}", "--units", $"{FloodUnits}");
        var peer = await AcknowledgedSecondsAsync(nothing, count);
        return (await DrainAsync(options, rig.Inbox, count, Eventually.Holds(() => Taken(rig) == count, "the whole queue", TimeSpan.FromMinutes(5))), peer);
    }

    /// <returns>Seconds from the first message until so many came and <paramref name="done"/>.</returns>
    private static async Task<double> DrainAsync(MqttOptions options, SiteInbox inbox, int count, Task done)
    {
        var began = Stopwatch.GetTimestamp();
        var ready = new ReadyState();
        ready.Set(Stage.Store, null);
        ready.Set(Stage.Sites, null);
        using var broker = new ExternalBroker(options, inbox, ready, TimeProvider.System, NullLogger<ExternalBroker>.Instance);
        await broker.StartAsync(Stop);
        await Eventually.Holds(() => ready.IsReady, "a connection");
        await done;
        var seconds = Stopwatch.GetElapsedTime(began).TotalSeconds;
        await broker.StopAsync(Stop);
        return count == 0 ? 0 : seconds;
    }

    private static async Task<double> AcknowledgedSecondsAsync(MqttOptions options, int count)
    {
        var inbox = new SiteInbox();
        return await DrainAsync(options, inbox, count, AcknowledgeAsync(inbox, count));
    }

    private static async Task AcknowledgeAsync(SiteInbox inbox, int count)
    {
        for (var left = count; left > 0; left--)
        {
            (await inbox.Reader.ReadAsync(Stop) as Work.Message)!.Receipt.Durable();
        }
    }

    private static long Taken(Rig rig) => rig.Directory.Sites.Sum(view => view.Units.Sum(unit => unit.Accepted));
}
