using System.Buffers.Binary;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>What our client owes a broker. Statements of MQTT 5.0 by their ids: CHECKS I2.</summary>
public sealed class BrokerSessionTests
{
    private readonly FakeTimeProvider clock = new(Rig.Noon);
    private readonly SiteInbox inbox = new();

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    // 3.1.2-23 and 3.3.4-9 bind the broker to what is asked for here; 2,592,000 s are 30 days.
    [Fact]
    public async Task It_asks_for_its_old_session_kept_for_a_month_and_for_all_that_may_be_in_flight()
    {
        await using var broker = new ScriptedBroker();
        await using var session = await OpenAsync(broker.Port);
        var connect = broker.All(Wire.Connect).Single().Body;
        Assert.Equal(5, connect[6]);
        Assert.Equal(0, connect[7] & 0b10); // Clean Start
        Assert.Equal(15, BinaryPrimitives.ReadUInt16BigEndian(connect.AsSpan(8)));
        var properties = connect.AsSpan(11, connect[10]).ToArray();
        Assert.Equal(2_592_000u, BinaryPrimitives.ReadUInt32BigEndian(properties.AsSpan(Array.IndexOf(properties, (byte)0x11) + 1)));
        Assert.Equal(65535, BinaryPrimitives.ReadUInt16BigEndian(properties.AsSpan(Array.IndexOf(properties, (byte)0x21) + 1)));
    }

    [Fact] // 4.3.2-4: a PUBACK with the packet's id, once the message is ours; 4.6.0-2: in the order of receipt.
    public async Task Acknowledgements_wait_for_durability_and_leave_in_order_of_receipt()
    {
        await using var broker = new ScriptedBroker();
        var session = await OpenAsync(broker.Port);
        foreach (ushort id in new ushort[] { 7, 3, 65535, 1 })
        {
            await broker.SendAsync(Deliver(id));
        }

        var taken = await TakeAsync(4);
        Assert.Empty(broker.All(Wire.PubAck));
        taken[0].Receipt.Durable();
        taken[1].Receipt.Durable();
        await Eventually.Holds(() => broker.All(Wire.PubAck).Count() == 2, "two acknowledgements");
        taken[2].Receipt.Durable();
        taken[3].Receipt.Abandoned();
        await Eventually.Holds(() => broker.All(Wire.PubAck).Count() == 3, "the third acknowledgement");
        await session.DisposeAsync();
        await Eventually.Holds(() => broker.All(Wire.Disconnect).Any(), "the farewell");
        Assert.Equal([7, 3, 65535], broker.All(Wire.PubAck).Select(packet => packet.Id));
    }

    [Fact] // 4.3.2-5: after its PUBACK the same id is a new message, whatever DUP says.
    public async Task An_id_that_comes_again_after_its_acknowledgement_is_a_new_message_even_with_the_dup_flag()
    {
        await using var broker = new ScriptedBroker();
        await using var session = await OpenAsync(broker.Port);
        await broker.SendAsync(Deliver(7));
        (await TakeAsync(1))[0].Receipt.Durable();
        await Eventually.Holds(() => broker.All(Wire.PubAck).Any(), "the first acknowledgement");
        await broker.SendAsync(Deliver(7, flags: 0b1010));
        (await TakeAsync(1))[0].Receipt.Durable();
        await Eventually.Holds(() => broker.All(Wire.PubAck).Count() == 2, "the second acknowledgement");
    }

    [Fact] // 3.14.0-1: the connection's last packet; 3.1.2-23: it does not end the session.
    public async Task It_takes_leave_after_its_last_acknowledgement_without_ending_the_session()
    {
        await using var broker = new ScriptedBroker();
        var session = await OpenAsync(broker.Port);
        for (ushort id = 1; id <= 500; id++)
        {
            await broker.SendAsync(Deliver(id));
        }

        var taken = await TakeAsync(500);
        var leaving = session.DisposeAsync();
        taken.ForEach(message => message.Receipt.Durable());
        await leaving;
        await Eventually.Holds(() => broker.All(Wire.Disconnect).Any(), "the farewell");
        Assert.Equal(500, broker.All(Wire.PubAck).Count());
        var farewell = broker.Heard.Last();
        Assert.Equal(Wire.Disconnect, farewell.Type);
        Assert.True(farewell.Body is [] or [0, 5, 0x11, 0, 0x27, 0x8D, 0], Convert.ToHexString(farewell.Body)); // 0x278D00 s are 30 days.
    }

    [Fact]
    public async Task What_one_connection_delivered_is_never_acknowledged_on_another()
    {
        await using var broker = new ScriptedBroker();
        await using var proxy = new FaultProxy(broker.Port);
        await using var first = await OpenAsync(proxy.Port);
        await broker.SendAsync(Deliver(7));
        var late = (await TakeAsync(1))[0];
        proxy.Break();
        await first.Lost.WaitAsync(TimeSpan.FromSeconds(60), Stop);
        await using var second = await OpenAsync(broker.Port);
        late.Receipt.Durable();
        await broker.SendAsync(Deliver(8));
        (await TakeAsync(1))[0].Receipt.Durable();
        await Eventually.Holds(() => broker.All(Wire.PubAck).Any(), "the acknowledgement of the second connection");
        Assert.Equal([8], broker.All(Wire.PubAck).Select(packet => packet.Id));
    }

    [Fact]
    public async Task A_link_that_swallows_everything_is_given_up_within_45_seconds()
    {
        await using var broker = new ScriptedBroker();
        await using var proxy = new FaultProxy(broker.Port);
        await using var session = await OpenAsync(proxy.Port);
        for (var tick = 0; tick < 6; tick++) // A minute of quiet with a broker that answers.
        {
            var heard = proxy.ToClient;
            clock.Advance(TimeSpan.FromSeconds(10));
            await Eventually.Holds(() => proxy.ToClient > heard, "the answer to a ping");
        }

        Assert.False(session.Lost.IsCompleted);
        proxy.Swallow();
        var waited = TimeSpan.Zero;
        while (!session.Lost.IsCompleted && waited < TimeSpan.FromSeconds(45))
        {
            var sent = proxy.ToServer;
            clock.Advance(TimeSpan.FromSeconds(5));
            waited += TimeSpan.FromSeconds(5);
            await Eventually.Holds(() => waited.TotalSeconds % 10 != 0 || proxy.ToServer > sent || session.Lost.IsCompleted, "a ping, or the end");
        }

        Assert.Contains("said nothing", await session.Lost.WaitAsync(TimeSpan.FromSeconds(60), Stop), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Payloads_that_would_fill_memory_are_left_with_the_broker_and_the_link_holds()
    {
        const int Large = 1024 * 1024;
        await using var broker = new ScriptedBroker();
        await using var session = await OpenAsync(broker.Port);
        ushort sent = 0;
        while (sent < 60 && await broker.TrySendAsync(Deliver((ushort)(sent + 1), new byte[Large]), TimeSpan.FromSeconds(2)))
        {
            sent++;
        }

        Assert.InRange(sent, 3, 30); // 4 MiB are three and a piece; the rest is in the buffers of two sockets.
        for (var tick = 0; tick < 6; tick++)
        {
            clock.Advance(TimeSpan.FromSeconds(10));
        }

        Assert.False(session.Lost.IsCompleted);
        for (var taken = 0; taken < sent; taken++)
        {
            (await TakeAsync(1)).ForEach(message => message.Receipt.Durable());
        }

        await Eventually.Holds(() => broker.All(Wire.PubAck).Count() == sent, "the acknowledgements");
    }

    [Fact]
    public async Task A_stalled_store_leaves_all_that_may_be_in_flight_in_hand_and_the_link_holds()
    {
        await using var broker = new ScriptedBroker();
        await using var session = await OpenAsync(broker.Port);
        for (var id = 1; id <= 65535; id++)
        {
            await broker.SendAsync(Deliver((ushort)id));
        }

        for (var tick = 0; tick < 60; tick++)
        {
            var pings = broker.All(Wire.PingReq).Count();
            clock.Advance(TimeSpan.FromSeconds(10));
            await Eventually.Holds(() => broker.All(Wire.PingReq).Count() > pings, "a ping");
        }

        Assert.False(session.Lost.IsCompleted);
        (await TakeAsync(65535)).ForEach(message => message.Receipt.Durable());
        await Eventually.Holds(() => broker.All(Wire.PubAck).Count() == 65535, "the acknowledgements");
        Assert.Equal(Enumerable.Range(1, 65535), broker.All(Wire.PubAck).Select(packet => packet.Id));
    }

    [Fact]
    public async Task A_broker_behind_tls_with_a_private_authority_is_read_and_acknowledged()
    {
        await using var mosquitto = await Mosquitto.StartedAsync(mustBeOurs: true, tls: true);
        var options = new MqttOptions
        {
            Mode = MqttMode.External, Host = "localhost", Port = mosquitto.TlsPort, Tls = true, CaFile = mosquitto.CaFile, ClientId = "tls",
        };
        var session = new BrokerSession(options, inbox, clock, NullLogger.Instance);
        await session.OpenAsync(Stop);
        using var unit = new MqttClientFactory().CreateMqttClient();
        await unit.ConnectAsync(new MqttClientOptionsBuilder().WithTcpServer(mosquitto.Host, mosquitto.Port).Build(), Stop);
        await Task.WhenAll(Enumerable.Range(0, 200).Select(_ => unit.PublishAsync(
            new MqttApplicationMessageBuilder().WithTopic("tankwatch/v1/fu-1/level").WithPayload("{}").WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).Build(), Stop)));
        (await TakeAsync(200)).ForEach(message => message.Receipt.Durable());
        await session.DisposeAsync();
        await using var again = new BrokerSession(options, inbox, clock, NullLogger.Instance);
        await again.OpenAsync(Stop);
        await unit.PublishAsync(
            new MqttApplicationMessageBuilder().WithTopic("tankwatch/v1/fu-1/status").WithPayload("{}").WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).Build(), Stop);
        var next = (await TakeAsync(1))[0];
        next.Receipt.Durable();
        Assert.EndsWith("status", next.Received.Topic, StringComparison.Ordinal); // None of the 200 came again.
    }

    [Fact]
    public async Task The_shipped_configuration_of_mosquitto_keeps_100000_messages_for_a_service_that_is_away()
    {
        string[] ours = ["listener", "allow_anonymous", "password_file", "persistence_location"];
        var lines = await File.ReadAllLinesAsync(Path.Combine(AppContext.BaseDirectory, "Deploy", "mosquitto.conf"), Stop);
        await using var mosquitto = await Mosquitto.StartedAsync(
            mustBeOurs: true, configuration: string.Join('\n', lines.Where(line => !ours.Contains(line.Split(' ')[0]))));
        await (await OpenAsync(mosquitto.Port)).DisposeAsync();
        await PublishAsync(mosquitto.Port, 100_000);
        await using var session = await OpenAsync(mosquitto.Port);
        for (var seen = 0; seen < 100_000; seen++)
        {
            (await TakeAsync(1))[0].Receipt.Durable();
        }
    }

    /// <summary>As fast as the broker reads, and returns when it has acknowledged all.</summary>
    private static async Task PublishAsync(int port, int count)
    {
        using var unit = new System.Net.Sockets.TcpClient();
        await unit.ConnectAsync("127.0.0.1", port, Stop);
        await using var stream = unit.GetStream();
        await stream.WriteAsync(Wire.Of(Wire.Connect, 0, Wire.Text("MQTT"), [4, 2], Wire.Short(0), Wire.Text("unit")), Stop);
        var all = Enumerable.Range(0, count).SelectMany(i => Wire.PublishOf("tankwatch/v1/fu-1/level", (ushort)((i % 65535) + 1), "{}"u8.ToArray())).ToArray();
        var sending = stream.WriteAsync(all, Stop);
        await stream.ReadExactlyAsync(new byte[4 * (count + 1)], Stop); // CONNACK and PUBACKs have four bytes each in MQTT 3.1.1.
        await sending;
    }

    private static byte[] Deliver(ushort id, byte[]? payload = null, int flags = 0b0010) =>
        Wire.PublishOf("tankwatch/v1/fu-1/level", id, payload ?? "{}"u8.ToArray(), flags, 0);

    private async Task<BrokerSession> OpenAsync(int port)
    {
        var session = new BrokerSession(
            new MqttOptions { Mode = MqttMode.External, Host = "127.0.0.1", Port = port, ClientId = "t" }, inbox, clock, NullLogger.Instance);
        await session.OpenAsync(Stop);
        return session;
    }

    private async Task<List<Work.Message>> TakeAsync(int count)
    {
        using var patience = CancellationTokenSource.CreateLinkedTokenSource(Stop);
        patience.CancelAfter(TimeSpan.FromSeconds(60));
        var taken = new List<Work.Message>();
        while (taken.Count < count)
        {
            taken.Add((Work.Message)await inbox.Reader.ReadAsync(patience.Token));
        }

        return taken;
    }
}
