using System.Diagnostics;
using System.Globalization;
using System.Text.Json;
using System.Text.RegularExpressions;
using TankWatch.Service.Commands;
using TankWatch.Service.Load;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.EndToEnd;
using TankWatch.Service.Tests.Ingest;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;

namespace TankWatch.Service.Tests.Figures;

/// <summary>The real program with the sites of simulated units, between them a broker, and <c>load</c> in a process of its own.</summary>
internal sealed partial class LoadedService : IAsyncDisposable
{
    private static readonly TimeSpan LookEvery = TimeSpan.FromMilliseconds(50);

    private readonly string folder = Directory.CreateTempSubdirectory("figures-").FullName;
    private readonly HttpClient client = new();
    private readonly int units;
    private readonly int port;
    private readonly ServedProcess service;
    private readonly Mosquitto? mosquitto;

    private LoadedService(int units, Mosquitto? mosquitto)
    {
        (this.units, this.mosquitto, port) = (units, mosquitto, mosquitto?.Port ?? MailServer.FreePort());
        service = new(folder, new Dictionary<string, string>
        {
            ["TANKWATCH_DATA__PATH"] = Data,
            ["TANKWATCH_HTTP__URLS"] = "http://127.0.0.1:0",
            ["TANKWATCH_MQTT__MODE"] = mosquitto is null ? "embedded" : "external",
            ["TANKWATCH_MQTT__LISTENPORT"] = Text(port),
            ["TANKWATCH_MQTT__HOST"] = "127.0.0.1",
            ["TANKWATCH_MQTT__PORT"] = Text(port),
        });
    }

    public ServedProcess Process => service;

    public string StoreFile { get; private set; } = "";

    private string Data => Path.Combine(folder, "data");

    private string SecretsFile => Path.Combine(folder, "secrets");

    /// <param name="units">How many simulated units have a site.</param>
    /// <param name="mosquitto">Between them and the service; null for the embedded broker.</param>
    public static async Task<LoadedService> StartAsync(int units, Mosquitto? mosquitto)
    {
        var loaded = new LoadedService(units, mosquitto);
        loaded.Prepare();
        await loaded.service.ServeAsync();
        return loaded;
    }

    public Task<LoadReport> LoadAsync(params string[] options) => LoadAsync(
        port, [.. options, "--units", Text(units), .. mosquitto is null ? (string[])["--secrets-file", SecretsFile] : []]);

    /// <summary>Runs <c>load</c> to its end.</summary>
    public static async Task<LoadReport> LoadAsync(int port, params string[] options)
    {
        using var load = System.Diagnostics.Process.Start(new ProcessStartInfo(
            "dotnet", [typeof(CommandLine).Assembly.Location, "load", "--port", Text(port), .. options]) { RedirectStandardOutput = true })!;
        var output = await load.StandardOutput.ReadToEndAsync();
        await load.WaitForExitAsync();
        var report = JsonDocument.Parse(output).RootElement;
        return new(
            report.GetProperty("sent").GetInt64(), report.GetProperty("errors").GetInt64(), report.GetProperty("ratePerSecond").GetDouble(),
            report.GetProperty("latencyMs").GetProperty("p50").GetDouble(), report.GetProperty("latencyMs").GetProperty("p99").GetDouble(),
            TimeSpan.FromSeconds(report.GetProperty("processorSeconds").GetDouble()));
    }

    /// <summary>Messages stored since the start. The exporter renews what it says every 0.3 s.</summary>
    public async Task<long> StoredAsync() => Accepted().Match(await client.GetStringAsync(service.Url + "/metrics")) is { Success: true } found
        ? (long)double.Parse(found.Groups[1].Value, CultureInfo.InvariantCulture) : 0;

    public async Task WaitStoredAsync(long count)
    {
        using var timer = new PeriodicTimer(LookEvery);
        while (await StoredAsync() < count)
        {
            await timer.WaitForNextTickAsync();
        }
    }

    public async ValueTask DisposeAsync()
    {
        await service.KillAsync();
        service.Dispose();
        client.Dispose();
        Directory.Delete(folder, recursive: true);
    }

    private void Prepare()
    {
        using var database = new Database(Data, TimeSpan.FromSeconds(10));
        var ledger = new LedgerStore(database, TimeProvider.System);
        using var secrets = File.CreateText(SecretsFile);
        foreach (var unit in Enumerable.Range(1, units).Select(number => new LoadUnit(number, Boot: 0)))
        {
            var plan = SampleSite.Plan(unit.SiteFile());
            ledger.PutSite(plan, unit.SiteFile());
            secrets.WriteLine($"{unit.Id} {ledger.AddUnit(new(unit.Id), plan.Id).Secret}");
        }

        StoreFile = database.File;
    }

    private static string Text(int value) => value.ToString(CultureInfo.InvariantCulture);

    [GeneratedRegex(@"^tankwatch_messages_accepted\S* ([0-9.eE+]+)", RegexOptions.Multiline)]
    private static partial Regex Accepted();
}

/// <summary>What <c>load</c> said of a run.</summary>
/// <param name="Sent">Messages.</param>
/// <param name="Errors">Of them without a good answer.</param>
/// <param name="Rate">Acknowledged per second.</param>
/// <param name="P50">Milliseconds from when a message was to be sent to its acknowledgement.</param>
/// <param name="P99">The same.</param>
/// <param name="Processor">What <c>load</c> itself used, its start included.</param>
internal sealed record LoadReport(long Sent, long Errors, double Rate, double P50, double P99, TimeSpan Processor);
