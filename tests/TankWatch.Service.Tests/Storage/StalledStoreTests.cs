using System.Globalization;
using System.Text.Json;
using Microsoft.Data.Sqlite;
using TankWatch.Service.Load;
using TankWatch.Service.Tests.EndToEnd;
using TankWatch.Service.Tests.Ingest;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Storage;

/// <summary>Another process keeps the store to itself while units go on talking to the broker.</summary>
public sealed class StalledStoreTests(ITestOutputHelper output)
{
    private const int Rate = 5000;
    private const int Units = 20;

    /// <summary>While nothing is taken. What the drain of a long stall takes after it is printed.</summary>
    private const int MostMegabytes = 512;

    [Fact]
    public async Task While_the_store_takes_nothing_the_backlog_stays_in_the_broker_and_nothing_is_lost()
    {
        if (!OperatingSystem.IsLinux())
        {
            Assert.Skip("the peak of a process's memory is read from Linux");
        }

        await using var mosquitto = await Mosquitto.StartedAsync(configuration: Mosquitto.InMemory);
        using var houses = new ServedHouses(mosquitto, [.. Enumerable.Range(1, Units).Select(number => new LoadUnit(number, Boot: 0).SiteFile())]);
        await houses.ServeAsync();
        var loading = Task.Run(() => houses.Service.RunAsync(
            "load", "--host", mosquitto.Host, "--port", Text(mosquitto.Port), "--rate", Text(Rate), "--units", Text(Units), "--seconds", Text(TestNumbers.StallSeconds)));
        await Eventually.Holds(() => houses.Count("SELECT count(*) FROM journal") > 0, "the first messages");

        var before = Stored(houses);
        using (var other = new SqliteConnection($"Data Source={houses.StoreFile};Pooling=False"))
        {
            other.Open();
            using var hold = other.CreateCommand();
            hold.CommandText = "BEGIN IMMEDIATE";
            hold.ExecuteNonQuery();
            await loading;
            var (ready, said) = await houses.Service.HealthAsync();
            Assert.False(ready);
            Assert.Contains("locked", said, StringComparison.Ordinal);
        }

        var acknowledged = JsonDocument.Parse(await loading).RootElement.GetProperty("acknowledged").GetInt32();
        var peak = PeakMegabytes(houses.Service.Id);
        await Eventually.Holds(() => Stored(houses) == acknowledged, $"{acknowledged} messages in the store", TimeSpan.FromSeconds(60 + TestNumbers.StallSeconds));
        output.WriteLine($"{acknowledged} acknowledged by the broker, {before} of them stored before the stall of {TestNumbers.StallSeconds} s; peak {peak} MB, with the backlog {PeakMegabytes(houses.Service.Id)} MB");
        Assert.InRange(acknowledged, Rate * TestNumbers.StallSeconds * 9 / 10, int.MaxValue);
        Assert.InRange(before, 0, acknowledged / 2);
        Assert.InRange(peak, 1, MostMegabytes);
    }

    private static int Stored(ServedHouses houses) => houses.Plans.Sum(plan => houses.StoredOf(plan, plan.Units[0].Id));

    private static string Text(int number) => number.ToString(CultureInfo.InvariantCulture);

    /// <summary>The most that was resident, ever.</summary>
    private static int PeakMegabytes(int process) =>
        int.Parse(File.ReadLines($"/proc/{process}/status").First(line => line.StartsWith("VmHWM:", StringComparison.Ordinal)).Split(' ', StringSplitOptions.RemoveEmptyEntries)[1], CultureInfo.InvariantCulture) / 1024;
}
