using System.IO.Compression;
using System.Text.Json.Nodes;
using Microsoft.Data.Sqlite;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Core.Observations;
using TankWatch.Core.Time;
using TankWatch.Service.Configuration;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Ingest;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>From messages on a real broker to an alert in the API and a mail in a real mail server, through three sudden deaths.</summary>
public sealed class MainJobTests : IDisposable
{
    // Made by EPANET 2.2 (US EPA, public domain), an independent hydraulic solver: low and high probe 4 cm apart.
    private const string Name = "o10_short_cycling";
    private const int Published = 6000;

    private readonly string folder = Directory.CreateTempSubdirectory("main-job-").FullName;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public async Task A_short_cycling_pump_is_told_of_once_though_the_service_is_killed_again_and_again()
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var exim = await Exim.StartedAsync();
        using var service = new ServedProcess(folder, new Dictionary<string, string>
        {
            ["TANKWATCH_DATA__PATH"] = Path.Combine(folder, "data"),
            ["TANKWATCH_HTTP__URLS"] = "http://127.0.0.1:0",
            ["TANKWATCH_MQTT__MODE"] = "external",
            ["TANKWATCH_MQTT__HOST"] = mosquitto.Host,
            ["TANKWATCH_MQTT__PORT"] = mosquitto.Port.ToString(System.Globalization.CultureInfo.InvariantCulture),
            ["TANKWATCH_MQTT__CLIENTID"] = $"main-job-{Guid.NewGuid():N}",
            ["TANKWATCH_MAIL__SMTPHOST"] = "127.0.0.1",
            ["TANKWATCH_MAIL__SMTPPORT"] = exim.Port.ToString(System.Globalization.CultureInfo.InvariantCulture),
        });
        await File.WriteAllTextAsync(Path.Combine(folder, "site.json"), SiteFile(), TestContext.Current.CancellationToken);
        await service.RunAsync("site", "import", "site.json");
        var key = (await service.RunAsync("key", "add", "test", "--role", "operator")).TrimEnd().Split('\n')[^1];
        await service.ServeAsync();

        var messages = Messages();
        await PublishAsync(mosquitto, messages[..2000]);
        for (var from = 2000; from < messages.Count; from += 2000)
        {
            var publishing = PublishAsync(mosquitto, messages[from..Math.Min(from + 2000, messages.Count)]);
            await service.KillAsync();
            await service.ServeAsync();
            await publishing;
        }

        await service.KillAsync();
        await service.ServeAsync();
        await Eventually.Holds(() => Stored() == messages.Count, "every acknowledged message in the store", TimeSpan.FromSeconds(60));
        await Eventually.Holds(() => exim.Delivered().Count > 0, "a mail", TimeSpan.FromSeconds(60));

        var alert = Assert.Single((await service.GetAsync("/api/v1/alerts", key)).GetProperty("items").EnumerateArray());
        Assert.Equal("short-cycling", alert.GetProperty("kind").GetString());
        Assert.Equal("unacknowledged", alert.GetProperty("state").GetString());
        Assert.Single(exim.Delivered().Select(mail => mail.MessageId).Distinct());
        Assert.Equal(1L, Scalar("SELECT count(*) FROM outbox"));
        Assert.Equal(Stored(), Observations().Select(seen => (seen.Stamp.Unit, seen.Stamp.Boot, seen.Stamp.Seq)).Distinct().Count());
    }

    private static string Data(string file) => Path.Combine(AppContext.BaseDirectory, "Data", "hydraulics", Name, file);

    private static string SiteFile()
    {
        var site = JsonNode.Parse(File.ReadAllText(Data("site.json")))!;
        site["contacts"] = new JsonArray(new JsonObject { ["name"] = "Caretaker", ["email"] = "caretaker@mail.test" });
        return site.ToJsonString();
    }

    /// <summary>The last messages of the recording, moved in time so that the very last is now.</summary>
    private static List<(string Topic, string Payload)> Messages()
    {
        using var reader = new StreamReader(new GZipStream(File.OpenRead(Data("recording.jsonl.gz")), CompressionMode.Decompress));
        var lines = new List<JsonNode>();
        while (reader.ReadLine() is { } line)
        {
            lines.Add(JsonNode.Parse(line)!);
        }

        lines = lines[^Published..];
        var shift = TimeProvider.System.GetUtcNow() - lines.Max(line => At(line));
        return [.. lines.Select(line =>
        {
            line["payload"]!["at"] = Rfc3339.Format(At(line) + shift);
            return (line["topic"]!.GetValue<string>(), line["payload"]!.ToJsonString());
        })];
    }

    private static DateTimeOffset At(JsonNode line) =>
        Rfc3339.TryParse(line["payload"]!["at"]!.GetValue<string>(), out var at) ? at : throw new InvalidDataException();

    /// <summary>Returns when the broker has acknowledged all of them.</summary>
    private static async Task PublishAsync(Mosquitto mosquitto, IReadOnlyList<(string Topic, string Payload)> messages)
    {
        var factory = new MqttClientFactory();
        using var client = factory.CreateMqttClient();
        await client.ConnectAsync(factory.CreateClientOptionsBuilder().WithTcpServer(mosquitto.Host, mosquitto.Port).Build());
        foreach (var (topic, payload) in messages)
        {
            await client.PublishStringAsync(topic, payload, MqttQualityOfServiceLevel.AtLeastOnce);
        }

        await client.DisconnectAsync();
    }

    private int Stored() => Observations().Count;

    /// <summary>What another process reads of the running service's store.</summary>
    private IReadOnlyList<Observation> Observations()
    {
        using var database = new Database(new DataOptions { Path = Path.Combine(folder, "data") });
        var series = new SeriesStore(database);
        series.Open();
        return series.ReadFrom(Core.Sites.SiteFile.Parse(System.Text.Encoding.UTF8.GetBytes(SiteFile())).Plan!, DateTimeOffset.MinValue);
    }

    private long Scalar(string query)
    {
        using var connection = new SqliteConnection($"Data Source={Path.Combine(folder, "data", "tankwatch.db")};Mode=ReadOnly;Pooling=False");
        connection.Open();
        using var command = connection.CreateCommand();
        command.CommandText = query;
        return (long)command.ExecuteScalar()!;
    }
}
