using System.Buffers;
using System.Text;
using Microsoft.Extensions.Logging.Abstractions;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Core;
using TankWatch.Core.Observations;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;
using static TankWatch.Core.Tests.Sparkplug.SparkplugBytes;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>An edge node that knows nothing of this service but its site file's mapping, through real brokers. Ids in brackets are the specification's.</summary>
public sealed class SparkplugTests
{
    private static readonly string Json = SampleSite.Json().Replace(
        """
        "reports": [ "sump", "roof", "p1" ] }
        """,
        """
        "reports": [ "sump", "roof", "p1" ], "sparkplug": { "group": "works", "node": "cellar", "metrics": { "Roof": "roof/wet-mask", "Mains": "mains" } } }
        """, StringComparison.Ordinal);

    private static readonly DateTimeOffset At = new(2026, 3, 2, 12, 0, 0, TimeSpan.Zero);

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task An_edge_node_is_asked_for_its_birth_and_what_it_says_is_stored()
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var rig = Rig.New(TimeProvider.System);
        Assert.Null(rig.Put(Json));
        await rig.StartAsync();
        await using var node = await Node.ConnectedAsync(mosquitto.Host, mosquitto.Port, bdSeq: 3);
        await node.PublishAsync("NDATA", Payload(9, At, Metric(null, 7, alias: 1))); // Nobody listens yet.
        using (var broker = await ListenAsync(rig, mosquitto))
        {
            await Eventually.Holds(() => node.Rebirths > 0, "a request for the birth");
            await node.PublishAsync("NDATA", Payload(10, At, Metric(null, 7, alias: 1)));
            await Eventually.Holds(() => Refused(rig).SequenceEqual(["before-birth"]), "the data before the birth among the refused");

            await node.BearAsync(roof: 3, At);
            await node.PublishAsync("NDATA", Payload(1, At.AddMinutes(1), Metric(null, 7, alias: 1)));
            await node.PublishAsync("NDATA", Payload(2, At.AddMinutes(2), Metric(null, false, alias: 2)));
            await Eventually.Holds(() => Levels(rig).SequenceEqual(["12:00 3", "12:01 7"]), "both levels");
            await Eventually.Holds(() => Seen(rig).OfType<SupplyObservation>().Select(supply => supply.Mains).SequenceEqual([true, false]), "the mains");

            await node.DieAsync();
            await Eventually.Holds(() => Seen(rig).OfType<StatusObservation>().Any(status => !status.Online), "the death in its will");
            Assert.Equal((true, 1), node.Host); // [host-topic-phid-birth-payload]
            await broker.StopAsync(Stop);
        }

        await using var other = await Node.ConnectedAsync(mosquitto.Host, mosquitto.Port, bdSeq: 4);
        await Eventually.Holds(() => other.Host.Online == false, "the host's own death, retained"); // [host-topic-phid-death-retain]
    }

    [Fact]
    public async Task After_a_gap_what_came_is_taken_and_a_birth_asked_for()
    {
        await using var rig = Rig.New();
        Assert.Null(rig.Put(Json));
        await rig.StartAsync();
        Task SendAsync(string type, byte[] payload) => rig.Inbox.ReceiveAsync(new($"spBv1.0/works/{type}/cellar", payload, false, rig.Time.GetUtcNow()), Stop);
        Assert.Single(rig.Inbox.Sparkplug.TakeRebirths()); // At the start.
        await SendAsync("NBIRTH", Payload(0, At, Metric("Roof", 3, OfUInt8, 1), Metric("Mains", true, OfBoolean, 2)));
        await SendAsync("NDATA", Payload(2, At.AddMinutes(1), Metric(null, 7, alias: 1)));
        Assert.Equal(["12:00 3"], Levels(rig));
        await rig.PassAsync(TimeSpan.FromSeconds(40), TimeSpan.FromSeconds(2));
        Assert.Equal(["12:00 3", "12:01 7"], Levels(rig));
        Assert.Single(rig.Inbox.Sparkplug.TakeRebirths());
    }

    [Fact]
    public async Task A_site_file_that_comes_later_is_followed()
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var rig = await Rig.RunningAsync(TimeProvider.System);
        await using var node = await Node.ConnectedAsync(mosquitto.Host, mosquitto.Port, bdSeq: 0);
        using var broker = await ListenAsync(rig, mosquitto);
        Assert.Null(node.Host.Online); // Nothing is said where no site file names an edge node.
        Assert.Null(rig.Put(Json));
        await Eventually.Holds(() => node.Rebirths > 0, "a request for the birth");
        await node.BearAsync(roof: 3, At);
        await Eventually.Holds(() => Levels(rig).SequenceEqual(["12:00 3"]), "the level");
        await broker.StopAsync(Stop);
    }

    [Fact]
    public async Task The_embedded_broker_lets_a_unit_be_its_own_edge_node_and_no_other()
    {
        await using var rig = Rig.New(TimeProvider.System);
        Assert.Null(rig.Put(Json));
        await rig.StartAsync();
        var secret = rig.Ledger.AddUnit(new("fu-1"), new("alder-row")).Secret!;
        var options = new MqttOptions { ListenPort = MailServer.FreePort() };
        using var broker = new EmbeddedBroker(options, new BrokerAccess(Open: false), rig.Ledger, rig.Inbox, rig.Ready, TimeProvider.System, NullLogger<EmbeddedBroker>.Instance);
        await broker.StartAsync(Stop);
        await using (var node = await Node.ConnectedAsync("127.0.0.1", options.ListenPort, bdSeq: 0, ("fu-1", secret)))
        {
            await Eventually.Holds(() => node.Host.Online == true, "the host's state");
            await node.PublishAsync("NDATA", Payload(10, At, Metric(null, 7, alias: 1)));
            await Eventually.Holds(() => Refused(rig).SequenceEqual(["before-birth"]), "the data before the birth among the refused");
            await node.BearAsync(roof: 3, At);
            await Eventually.Holds(() => Levels(rig).SequenceEqual(["12:00 3"]), "the level");
            Assert.Equal(
                [MqttClientSubscribeResultCode.NotAuthorized, MqttClientSubscribeResultCode.NotAuthorized, MqttClientSubscribeResultCode.NotAuthorized],
                await node.SubscribeAsync("spBv1.0/works/#", "spBv1.0/works/NCMD/attic", "spBv1.0/works/NDATA/cellar"));
        }

        foreach (var topic in new[] { "spBv1.0/works/NDATA/attic", "spBv1.0/works/NCMD/cellar", "spBv1.0/STATE/tankwatch", "tankwatch/v1/fu-2/senml" })
        {
            await using var node = await Node.ConnectedAsync("127.0.0.1", options.ListenPort, bdSeq: 0, ("fu-1", secret));
            await node.TryPublishAsync(topic);
            await Eventually.Holds(() => !node.IsConnected, $"the end of the connection that wrote to {topic}");
        }

        await broker.StopAsync(Stop);
    }

    [Fact]
    public async Task A_pack_of_measurements_is_stored_like_field_messages()
    {
        await using var rig = await Rig.RunningAsync(TimeProvider.System);
        await rig.SendAsync("senml", $$"""[{"bt":{{At.ToUnixTimeSeconds()}},"n":"roof/wet","vs":"110"},{"n":"battery","v":101},{"n":"attic/wet","vs":"1"}]""");
        Assert.Equal(["12:00 3"], Levels(rig));
        Assert.Equal(["out-of-range", "unknown-device"], Refused(rig).Order());
    }

    private static IReadOnlyList<Observation> Seen(Rig rig) => rig.Series.ReadFrom(SampleSite.Plan(Json), DateTimeOffset.MinValue);

    private static IEnumerable<string> Levels(Rig rig) => Seen(rig).OfType<LevelObservation>().Select(level => $"{level.Stamp.At:HH:mm} {level.Wet}");

    private static IEnumerable<string> Refused(Rig rig) => rig.Series.ListRefused(new UnitId("fu-1"), null, 10).Select(refused => refused.Reason);

    private static async Task<ExternalBroker> ListenAsync(Rig rig, Mosquitto mosquitto)
    {
        var options = new MqttOptions { Mode = MqttMode.External, Host = mosquitto.Host, Port = mosquitto.Port };
        rig.Ready.Set(Stage.Broker, "not yet");
        var broker = new ExternalBroker(options, rig.Inbox, rig.Ready, TimeProvider.System, NullLogger<ExternalBroker>.Instance);
        await broker.StartAsync(Stop);
        await Eventually.Holds(() => rig.Ready.Stages[1].Ok, "the connection to mosquitto");
        return broker;
    }

    /// <summary>The edge node works/cellar, from raw bytes.</summary>
    private sealed class Node : IAsyncDisposable
    {
        private readonly IMqttClient client = new MqttClientFactory().CreateMqttClient();
        private readonly long bdSeq;
        private int rebirths;

        private Node(long bdSeq) => this.bdSeq = bdSeq;

        public int Rebirths => Volatile.Read(ref rebirths);
        public bool IsConnected => client.IsConnected;

        /// <summary>What the host last said of itself, and its QoS.</summary>
        public (bool? Online, int Qos) Host { get; private set; }

        public static async Task<Node> ConnectedAsync(string host, int port, long bdSeq, (string User, string Secret)? credentials = null)
        {
            var node = new Node(bdSeq);
            node.client.ApplicationMessageReceivedAsync += node.HearAsync;
            var options = new MqttClientOptionsBuilder().WithTcpServer(host, port)
                .WithWillTopic("spBv1.0/works/NDEATH/cellar").WithWillPayload(Payload(null, null, Metric("bdSeq", bdSeq, OfInt64))).WithWillQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce);
            if (credentials is var (user, secret))
            {
                options.WithCredentials(user, secret);
            }

            await node.client.ConnectAsync(options.Build(), Stop);
            Assert.All(await node.SubscribeAsync("spBv1.0/works/NCMD/cellar", "spBv1.0/STATE/tankwatch"), granted => Assert.True(granted <= MqttClientSubscribeResultCode.GrantedQoS2));
            return node;
        }

        public async Task<IEnumerable<MqttClientSubscribeResultCode>> SubscribeAsync(params string[] filters)
        {
            var subscribe = new MqttClientSubscribeOptionsBuilder();
            foreach (var filter in filters)
            {
                subscribe.WithTopicFilter(filter, MqttQualityOfServiceLevel.AtLeastOnce);
            }

            return (await client.SubscribeAsync(subscribe.Build(), Stop)).Items.Select(item => item.ResultCode);
        }

        public Task<MqttClientPublishResult> BearAsync(int roof, DateTimeOffset at) => PublishAsync("NBIRTH", Payload(
            0, at, Metric("bdSeq", bdSeq, OfInt64), Metric("Node Control/Rebirth", false, OfBoolean), Metric("Roof", roof, OfUInt8, 1), Metric("Mains", true, OfBoolean, 2)));

        /// <summary>With QoS 0, as births and data are sent.</summary>
        public Task<MqttClientPublishResult> PublishAsync(string type, byte[] payload) => client.PublishBinaryAsync($"spBv1.0/works/{type}/cellar", payload, cancellationToken: Stop);

        public async Task TryPublishAsync(string topic)
        {
            try
            {
                await client.PublishBinaryAsync(topic, Payload(0, At), MqttQualityOfServiceLevel.AtLeastOnce, cancellationToken: Stop);
            }
            catch (Exception fault) when (ConnectionFault.Is(fault))
            {
                // The connection was ended, as it should be.
            }
        }

        /// <summary>Goes without taking leave, so that the broker sends its will.</summary>
        public Task DieAsync() => client.DisconnectAsync(new MqttClientDisconnectOptions { Reason = MqttClientDisconnectOptionsReason.DisconnectWithWillMessage }, Stop);

        public ValueTask DisposeAsync()
        {
            client.Dispose();
            return ValueTask.CompletedTask;
        }

        private Task HearAsync(MqttApplicationMessageReceivedEventArgs args)
        {
            var (message, payload) = (args.ApplicationMessage, args.ApplicationMessage.Payload.ToArray());
            if (message.Topic == "spBv1.0/STATE/tankwatch")
            {
                Host = (Encoding.UTF8.GetString(payload).Contains("\"online\":true", StringComparison.Ordinal), (int)message.QualityOfServiceLevel);
            }
            else if (payload.AsSpan().IndexOf("Node Control/Rebirth"u8) >= 0)
            {
                Interlocked.Increment(ref rebirths);
            }

            return Task.CompletedTask;
        }
    }
}
