using System.Globalization;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>Backup, restore and verify as their users run them: each in a process of its own, beside a service that takes messages.</summary>
public sealed class KeepingTests(ITestOutputHelper output) : IDisposable
{
    private readonly string folder = Directory.CreateTempSubdirectory("keeping-").FullName;
    private readonly int port = MailServer.FreePort();

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public async Task A_service_under_load_is_backed_up_restored_and_clean_and_takes_messages_again()
    {
        using var service = new ServedProcess(folder, new Dictionary<string, string>
        {
            ["TANKWATCH_DATA__PATH"] = Path.Combine(folder, "data"),
            ["TANKWATCH_HTTP__URLS"] = "http://127.0.0.1:0",
            ["TANKWATCH_MQTT__LISTENPORT"] = port.ToString(CultureInfo.InvariantCulture),
        });
        await File.WriteAllTextAsync(Path.Combine(folder, "site.json"), SampleSite.Json(), TestContext.Current.CancellationToken);
        await service.RunAsync("site", "import", "site.json");
        var secret = (await service.RunAsync("unit", "add", "fu-1", "--site", "alder-row")).TrimEnd().Split('\n')[^1];
        await service.ServeAsync();

        using var enough = new CancellationTokenSource();
        var publishing = PublishAsync(secret, enough.Token);
        await Said(service, "verify");
        await Said(service, "backup", "backup.db");
        for (var round = 0; round < 3; round++)
        {
            await Said(service, "restore", "backup.db");
            Assert.StartsWith("no fault.", (await Said(service, "verify"))[^1], StringComparison.Ordinal);
        }

        await Said(service, "backup", "backup.db");
        await enough.CancelAsync();
        output.WriteLine($"published {await publishing}");
        Assert.StartsWith("no fault.", (await Said(service, "verify"))[^1], StringComparison.Ordinal);
        Assert.Empty(Directory.EnumerateFiles(folder, "*.part*", SearchOption.AllDirectories));
    }

    /// <summary>As fast as each is acknowledged, until it is enough.</summary>
    /// <returns>How many.</returns>
    private async Task<long> PublishAsync(string secret, CancellationToken enough)
    {
        using var mqtt = new MqttClientFactory().CreateMqttClient();
        await mqtt.ConnectAsync(new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", port).WithClientId("fu-1").WithCredentials("fu-1", secret).Build(), CancellationToken.None);
        var seq = 0L;
        for (; !enough.IsCancellationRequested; seq++)
        {
            var json = seq % 20 is 0 or 10
                ? ("pump", SampleSite.Pump(TimeProvider.System.GetUtcNow(), seq % 20 == 0, seq)) : ("level", SampleSite.Level(TimeProvider.System.GetUtcNow(), "roof", seq % 2 == 0 ? "100" : "110", seq));
            await mqtt.PublishStringAsync($"tankwatch/v1/fu-1/{json.Item1}", json.Item2, MqttQualityOfServiceLevel.AtLeastOnce, cancellationToken: CancellationToken.None);
        }

        await mqtt.DisconnectAsync(cancellationToken: CancellationToken.None);
        return seq;
    }

    private async Task<string[]> Said(ServedProcess service, params string[] command)
    {
        var said = await service.RunAsync(command);
        output.WriteLine($"{string.Join(' ', command)}: {said}");
        return said.Split('\n', StringSplitOptions.RemoveEmptyEntries);
    }
}
