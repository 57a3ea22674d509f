using System.Globalization;
using Microsoft.Data.Sqlite;
using TankWatch.Core;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Ingest;
using TankWatch.Service.Tests.Mail;
using Xunit;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>The real program with sites of one unit each, behind a mosquitto or with its own broker, and what another process sees of its store.</summary>
internal sealed class ServedHouses : IDisposable
{
    private readonly string folder = Directory.CreateTempSubdirectory("houses-").FullName;
    private readonly string data;

    /// <param name="mosquitto">Null for the embedded broker.</param>
    /// <param name="sites">Site files.</param>
    /// <param name="data">The store's folder; null for one that goes with this.</param>
    /// <param name="foldRows">After so many messages the journal is folded.</param>
    public ServedHouses(Mosquitto? mosquitto, IReadOnlyList<string> sites, string? data = null, int foldRows = 200_000)
    {
        this.data = data ?? Path.Combine(folder, "data");
        (Host, Port) = mosquitto is null ? ("127.0.0.1", MailServer.FreePort()) : (mosquitto.Host, mosquitto.Port);
        Plans = [.. sites.Select(Tests.Sites.SampleSite.Plan)];
        using (var database = new Database(new DataOptions { Path = this.data }))
        {
            var ledger = new LedgerStore(database, TimeProvider.System);
            foreach (var (plan, json) in Plans.Zip(sites))
            {
                Assert.Null(ledger.PutSite(plan, json));
            }

            Secrets = Plans.SelectMany(plan => plan.Units.Select(unit => (Unit: unit.Id, ledger.AddUnit(unit.Id, plan.Id).Secret)))
                .ToDictionary(unit => unit.Unit.Value, unit => unit.Secret!);
        }

        Service = new(folder, new Dictionary<string, string>
        {
            ["TANKWATCH_DATA__PATH"] = this.data,
            ["TANKWATCH_DATA__FOLDROWS"] = foldRows.ToString(CultureInfo.InvariantCulture),
            ["TANKWATCH_HTTP__URLS"] = "http://127.0.0.1:0",
            ["TANKWATCH_MQTT__MODE"] = mosquitto is null ? "embedded" : "external",
            ["TANKWATCH_MQTT__LISTENPORT"] = Port.ToString(CultureInfo.InvariantCulture),
            ["TANKWATCH_MQTT__HOST"] = mosquitto is null ? "" : Host,
            ["TANKWATCH_MQTT__PORT"] = Port.ToString(CultureInfo.InvariantCulture),
            ["TANKWATCH_MQTT__CLIENTID"] = $"houses-{Guid.NewGuid():N}",
            ["TANKWATCH_MAIL__PICKUPFOLDER"] = MailFolder,
        });
    }

    public ServedProcess Service { get; }
    public IReadOnlyList<SitePlan> Plans { get; }
    public string Host { get; }
    public int Port { get; }
    public string MailFolder => Path.Combine(folder, "mail");

    /// <summary>By unit.</summary>
    public IReadOnlyDictionary<string, string> Secrets { get; }

    public string StoreFile => Path.Combine(data, "tankwatch.db");

    /// <summary>Starts the service and waits until it takes messages.</summary>
    public async Task ServeAsync()
    {
        await Service.ServeAsync();
        await ReadyAsync("a service that is ready", TimeSpan.FromSeconds(60));
    }

    public Task ReadyAsync(string what, TimeSpan within) => Tests.Sites.Eventually.Comes(Service.HealthAsync, health => health.Ready, what, within);

    /// <summary>All that is stored of a site.</summary>
    public IReadOnlyList<Observation> Stored(SitePlan plan)
    {
        using var database = new Database(new DataOptions { Path = data });
        var series = new SeriesStore(database);
        series.Open();
        return series.ReadFrom(plan, DateTimeOffset.MinValue);
    }

    /// <returns>How many messages of a unit are stored.</returns>
    /// <remarks>Fails when one of them is there twice.</remarks>
    public int StoredOf(SitePlan plan, UnitId unit)
    {
        var stored = Stored(plan).Where(seen => seen.Stamp.Unit == unit).Select(seen => (seen.Stamp.Boot, seen.Stamp.Seq)).ToList();
        Assert.Equal(stored.Count, stored.Distinct().Count());
        return stored.Count;
    }

    public long Count(string query) => List(query, row => row.GetInt64(0)).Single();

    public IReadOnlyList<T> List<T>(string query, Func<SqliteDataReader, T> read)
    {
        using var connection = new SqliteConnection($"Data Source={StoreFile};Mode=ReadOnly;Pooling=False");
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = query;
        using var rows = command.ExecuteReader();
        var list = new List<T>();
        while (rows.Read())
        {
            list.Add(read(rows));
        }

        return list;
    }

    public void Dispose()
    {
        Service.Dispose();
        Directory.Delete(folder, recursive: true);
    }
}
