using System.Diagnostics;
using System.Globalization;
using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging.Abstractions;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>What installers try first: well-known clients, each in a process of its own, against both kinds of broker.</summary>
public sealed class RealClientTests
{
    private const string Topic = "tankwatch/v1/fu-1/level";
    private const int Messages = 3;

    private const string Paho = """
        import sys
        import paho.mqtt.client as mqtt
        port, version, user, password, topic = int(sys.argv[1]), sys.argv[2], *sys.argv[3:6]
        protocol = mqtt.MQTTv5 if version == "5" else mqtt.MQTTv311
        callbacks = [mqtt.CallbackAPIVersion.VERSION2] if hasattr(mqtt, "CallbackAPIVersion") else []
        client = mqtt.Client(*callbacks, client_id="paho", protocol=protocol)
        client.username_pw_set(user, password)
        client.connect("127.0.0.1", port)
        client.loop_start()
        for sent in [client.publish(topic, message, qos=1) for message in sys.argv[6:]]:
            sent.wait_for_publish(60)
            assert sent.is_published()
        client.disconnect()
        """;

    private const string MqttJs = """
        const mqtt = require('mqtt');
        const [port, version, username, password, topic, ...messages] = process.argv.slice(1);
        const client = mqtt.connect({ host: '127.0.0.1', port: +port, username, password, clientId: 'mqttjs', protocolVersion: version === '5' ? 5 : 4 });
        client.on('error', fault => { console.error(fault); process.exit(1); });
        client.on('connect', async () => {
          await Promise.all(messages.map(message => client.publishAsync(topic, message, { qos: 1 })));
          client.end();
        });
        """;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    public static TheoryData<string, string, bool> All => new MatrixTheoryData<string, string, bool>(["mosquitto_pub", "Paho", "mqtt.js"], ["3.1.1", "5"], [true, false]);

    [Theory]
    [MemberData(nameof(All))]
    public async Task Its_messages_are_stored_when_it_has_its_acknowledgements(string client, string version, bool embedded)
    {
        await MustBeThereAsync(client);
        await using var rig = await Rig.RunningAsync(TimeProvider.System);
        await using var mosquitto = embedded ? null : await Mosquitto.StartedAsync();
        var options = new MqttOptions
        {
            ListenPort = MailServer.FreePort(), Host = mosquitto?.Host, Port = mosquitto?.Port ?? 1, ClientId = $"real-client-test-{Guid.NewGuid():N}",
        };
        using BackgroundService broker = embedded
            ? new EmbeddedBroker(options, new(Open: false), rig.Ledger, rig.Inbox, rig.Ready, TimeProvider.System, NullLogger<EmbeddedBroker>.Instance)
            : new ExternalBroker(options, rig.Inbox, rig.Ready, TimeProvider.System, NullLogger<ExternalBroker>.Instance);
        await broker.StartAsync(Stop);
        await Eventually.Holds(() => rig.Ready.IsReady, "a broker");
        await PublishAsync(client, version, mosquitto?.Port ?? options.ListenPort, rig.Ledger.AddUnit(new("fu-1"), new("alder-row")).Secret!);
        if (!embedded)
        {
            await Eventually.Holds(() => Stored(rig) == Messages, "the messages"); // There the acknowledgement is mosquitto's.
        }

        Assert.Equal(Messages, Stored(rig));
        await broker.StopAsync(Stop);
    }

    private static async Task PublishAsync(string client, string version, int port, string secret)
    {
        var messages = Enumerable.Range(1, Messages).Select(seq => SampleSite.Level(Rig.Noon.AddSeconds(seq), "roof", "110", seq)).ToArray();
        var number = port.ToString(CultureInfo.InvariantCulture);
        if (client == "mosquitto_pub")
        {
            var spoken = version == "5" ? "mqttv5" : "mqttv311";
            await RunAsync("mosquitto_pub", ["-h", "127.0.0.1", "-p", number, "-V", spoken, "-u", "fu-1", "-P", secret, "-q", "1", "-t", Topic, "-l"], string.Join('\n', messages));
        }
        else
        {
            string[] said = [number, version, "fu-1", secret, Topic, .. messages];
            await (client == "Paho" ? RunAsync(Python, ["-c", Paho, .. said]) : RunAsync("node", ["-e", MqttJs, "--", .. said]));
        }
    }

    private static async Task MustBeThereAsync(string client)
    {
        try
        {
            await (client switch
            {
                "mosquitto_pub" => RunAsync("/bin/sh", ["-c", "command -v mosquitto_pub"]),
                "Paho" => RunAsync(Python, ["-c", "import paho.mqtt"]),
                _ => RunAsync("node", ["-e", "require('mqtt')"]),
            });
        }
        catch (Exception fault) when (fault is InvalidOperationException or System.ComponentModel.Win32Exception)
        {
            Assert.Skip($"{client} is not installed");
        }
    }

    /// <summary>The system's, which has the system's packages.</summary>
    private static string Python => File.Exists("/usr/bin/python3") ? "/usr/bin/python3" : "python3";

    private static async Task RunAsync(string program, string[] arguments, string input = "")
    {
        using var process = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardInput = true, RedirectStandardOutput = true, RedirectStandardError = true })!;
        await process.StandardInput.WriteAsync(input);
        process.StandardInput.Close();
        var fault = process.StandardError.ReadToEndAsync(Stop);
        using var patience = CancellationTokenSource.CreateLinkedTokenSource(Stop);
        patience.CancelAfter(TimeSpan.FromSeconds(120));
        try
        {
            await process.WaitForExitAsync(patience.Token);
        }
        finally
        {
            process.Kill();
        }

        if (process.ExitCode != 0)
        {
            throw new InvalidOperationException($"{program} ended with {process.ExitCode}: {await fault}");
        }
    }

    private static int Stored(Rig rig) => rig.Series.ReadFrom(SampleSite.Plan(SampleSite.Json()), DateTimeOffset.MinValue).Count;
}
