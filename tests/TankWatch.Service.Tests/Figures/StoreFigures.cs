using System.Diagnostics;
using System.Globalization;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.EndToEnd;
using Xunit;

namespace TankWatch.Service.Tests.Figures;

/// <summary>Not tests: measure a big store when asked for by name, as tests/bench.sh does, and append to the file that FIGURES_FILE names.</summary>
public sealed class StoreFigures(ITestOutputHelper output)
{
    private const int Reads = 200;
    private const int Starts = 5;

    private static int Sites => Number("FIGURES_SITES", 10_000);

    private static int Rows => Number("FIGURES_ROWS_PER_SITE", 10_000);

    private static int ManySites => Number("FIGURES_MANY_SITES", 100_000);

    [Fact(Explicit = true)]
    public async Task A_store_of_many_messages()
    {
        var folder = Directory.CreateTempSubdirectory("big-store-").FullName;
        try
        {
            var filling = Stopwatch.StartNew();
            using (var store = new BigStore(Path.Combine(folder, "data"), Sites, Rows))
            {
                store.Fill();
                store.Database.Read(connection => connection.Scalar("PRAGMA wal_checkpoint(TRUNCATE)"));
                output.WriteLine($"filled in {filling.Elapsed.TotalSeconds:0} s");
                var bytes = new FileInfo(store.Database.File).Length / (double)((long)Sites * Rows);
                Add($"Bytes on disk a message, {(long)Sites * Rows / 1e6:0.#} million of {Sites} sites, the whole file", Text($"{bytes:0.0}"), "at most 30", bytes <= 30);
                ReadMonths(store);
            }

            var starts = new List<double>();
            for (var start = 0; start < Starts; start++)
            {
                using var service = Served(folder);
                var starting = Stopwatch.StartNew();
                await service.ServeAsync();
                starts.Add(starting.Elapsed.TotalSeconds);
                await service.KillAsync();
            }

            starts.Sort();
            Add($"From the start of the process to ready, {Sites} sites with all of those messages, {Starts} starts",
                Text($"median {starts[Starts / 2]:0.0} s, worst {starts[^1]:0.0} s"), "at most 10 s", starts[^1] <= 10);
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    [Fact(Explicit = true)]
    public async Task The_live_state_of_many_sites()
    {
        var folder = Directory.CreateTempSubdirectory("many-sites-").FullName;
        try
        {
            using (var store = new BigStore(Path.Combine(folder, "data"), ManySites, 700))
            {
                store.Fill();
            }

            using var service = Served(folder);
            var starting = Stopwatch.StartNew();
            await service.ServeAsync();
            var ready = starting.Elapsed;
            await Task.Delay(TimeSpan.FromSeconds(20), TestContext.Current.CancellationToken); // It ticks every second; a minute's tick comes to each site.
            var resident = service.ResidentBytes() / 1e9;
            Add($"Resident memory of the service, {ManySites} sites live (ready after {ready.TotalSeconds:0.0} s)", Text($"{resident:0.00} GB"), "at most 2 GB", resident <= 2);
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private void ReadMonths(BigStore store)
    {
        var series = new SeriesStore(store.Database);
        series.Open();
        var random = new Random(4711);
        var times = new List<double>();
        for (var read = 0; read < Reads; read++)
        {
            var plan = BigStore.PlanOf(random.Next(Sites));
            var reading = Stopwatch.StartNew();
            var month = series.ReadLevels(plan, BigStore.End.AddDays(-BigStore.Days), BigStore.End);
            times.Add(reading.Elapsed.TotalMilliseconds);
            Assert.Equal(Rows * 3 / 5, month.Count);
        }

        times.Sort();
        Add($"A month of the tanks of one site, {Rows * 3 / 5} of those messages, {Reads} sites at random", Text($"median {times[Reads / 2]:0.0} ms, p99 {times[Reads * 99 / 100]:0.0} ms"), "median at most 30 ms", times[Reads / 2] <= 30);
    }

    private static ServedProcess Served(string folder) => new(folder, new Dictionary<string, string>
    {
        ["TANKWATCH_DATA__PATH"] = "data",
        ["TANKWATCH_HTTP__URLS"] = $"http://127.0.0.1:{Mail.MailServer.FreePort()}",
        ["TANKWATCH_MQTT__LISTENPORT"] = Mail.MailServer.FreePort().ToString(CultureInfo.InvariantCulture),
    });

    private void Add(string what, string measured, string aim, bool met)
    {
        var line = $"| {what} | {measured} | {aim} | {(met ? "met" : "**missed**")} |";
        output.WriteLine(line);
        if (Environment.GetEnvironmentVariable("FIGURES_FILE") is { } file)
        {
            File.AppendAllText(file, line + "\n");
        }
    }

    private static string Text(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);

    private static int Number(string name, int otherwise) => int.TryParse(Environment.GetEnvironmentVariable(name), CultureInfo.InvariantCulture, out var number) ? number : otherwise;
}
