using System.Collections.Concurrent;
using System.Globalization;
using System.Net;
using System.Text;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>What a collector of OpenTelemetry gets that the environment names.</summary>
public sealed class CollectorTests : IDisposable
{
    private readonly string folder = Directory.CreateTempSubdirectory("collector-").FullName;
    private readonly HttpListener collector = new();
    private readonly ConcurrentQueue<(string Path, string Text)> got = [];

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    public void Dispose()
    {
        collector.Close();
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task Metrics_and_traces_go_where_the_environment_says()
    {
        var (address, port) = ($"http://127.0.0.1:{MailServer.FreePort()}", MailServer.FreePort());
        collector.Prefixes.Add($"{address}/");
        collector.Start();
        var collecting = CollectAsync();
        using var service = new ServedProcess(folder, new Dictionary<string, string>
        {
            ["TANKWATCH_DATA__PATH"] = Path.Combine(folder, "data"),
            ["TANKWATCH_HTTP__URLS"] = "http://127.0.0.1:0",
            ["TANKWATCH_MQTT__LISTENPORT"] = port.ToString(CultureInfo.InvariantCulture),
            ["OTEL_EXPORTER_OTLP_ENDPOINT"] = address,
            ["OTEL_EXPORTER_OTLP_PROTOCOL"] = "http/protobuf",
            ["OTEL_BSP_SCHEDULE_DELAY"] = "200",
            ["OTEL_METRIC_EXPORT_INTERVAL"] = "200",
            ["NO_PROXY"] = "127.0.0.1",
            ["no_proxy"] = "127.0.0.1",
        });
        await File.WriteAllTextAsync(Path.Combine(folder, "site.json"), SampleSite.Json(), Stop);
        await service.RunAsync("site", "import", "site.json");
        var secret = (await service.RunAsync("unit", "add", "fu-1", "--site", "alder-row")).TrimEnd().Split('\n')[^1];
        await service.ServeAsync();

        using var unit = new MqttClientFactory().CreateMqttClient();
        await unit.ConnectAsync(new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", port).WithCredentials("fu-1", secret).Build(), Stop);
        await unit.PublishAsync(
            new MqttApplicationMessageBuilder().WithTopic("tankwatch/v1/fu-1/status").WithPayload("""{"online":true}""")
                .WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).Build(), Stop);
        await Eventually.Holds(() => got.Any(sent => sent.Path == "/v1/traces" && sent.Text.Contains("journal commit", StringComparison.Ordinal)), "the commit's span");
        await Eventually.Holds(() => got.Any(sent => sent.Path == "/v1/metrics" && sent.Text.Contains("tankwatch_messages_accepted", StringComparison.Ordinal)), "the metrics");
        await service.KillAsync();
        collector.Stop();
        await collecting;
    }

    private async Task CollectAsync()
    {
        try
        {
            while (true)
            {
                var context = await collector.GetContextAsync();
                using var body = new StreamReader(context.Request.InputStream, Encoding.Latin1);
                got.Enqueue((context.Request.Url!.AbsolutePath, await body.ReadToEndAsync(Stop)));
                context.Response.Close();
            }
        }
        catch (Exception fault) when (fault is HttpListenerException or ObjectDisposedException)
        {
            // The test is over.
        }
    }
}
