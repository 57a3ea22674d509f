using Microsoft.Extensions.Logging.Abstractions;
using MQTTnet;
using MQTTnet.Formatter;
using MQTTnet.Protocol;
using TankWatch.Core;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Ingest;

public sealed class EmbeddedBrokerTests : IAsyncLifetime
{
    private readonly MqttOptions options = new() { ListenPort = MailServer.FreePort() };
    private readonly MqttClientFactory factory = new();
    private Rig rig = null!;
    private EmbeddedBroker broker = null!;
    private string secret = "";

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    public async ValueTask InitializeAsync()
    {
        rig = await Rig.RunningAsync(TimeProvider.System, TimeSpan.FromMilliseconds(50));
        secret = rig.Ledger.AddUnit(new("fu-1"), new("alder-row")).Secret!;
        broker = await StartAsync(open: false, options);
    }

    public async ValueTask DisposeAsync()
    {
        await broker.StopAsync(CancellationToken.None);
        broker.Dispose();
        await rig.DisposeAsync();
    }

    [Theory]
    [InlineData(MqttProtocolVersion.V311)]
    [InlineData(MqttProtocolVersion.V500)]
    public async Task A_unit_with_its_secret_has_its_message_stored_when_the_acknowledgement_comes(MqttProtocolVersion version)
    {
        using var unit = await ConnectAsync("fu-1", secret, version: version);
        await PublishAsync(unit, "tankwatch/v1/fu-1/level", SampleSite.Level(DateTimeOffset.UnixEpoch.AddYears(55), "roof", "110", 1));
        Assert.Single(rig.Series.ReadFrom(SampleSite.Plan(SampleSite.Json()), DateTimeOffset.MinValue));
    }

    [Theory]
    [InlineData("fu-1", "wrong")]
    [InlineData("fu-1", "")]
    [InlineData("fu-2", null)]
    [InlineData("", null)]
    [InlineData("fu-1' OR '1'='1", null)]
    public async Task Who_is_not_a_unit_with_its_secret_is_not_let_in(string user, string? password)
    {
        using var client = factory.CreateMqttClient();
        var refusal = await client.ConnectAsync(Options(user, password ?? secret, "c1", MqttProtocolVersion.V500), Stop);
        Assert.Equal(MqttClientConnectResultCode.BadUserNameOrPassword, refusal.ResultCode);
    }

    [Theory]
    [InlineData(MqttProtocolVersion.V311)]
    [InlineData(MqttProtocolVersion.V500)]
    public async Task A_unit_speaks_for_itself_alone(MqttProtocolVersion version)
    {
        using var unit = await ConnectAsync("fu-1", secret, version: version);
        await Assert.ThrowsAnyAsync<Exception>(() => PublishAsync(unit, "tankwatch/v1/fu-2/level", "{}"));
        await Eventually.Holds(() => !unit.IsConnected, "the end of the connection");
        Assert.Equal(0, rig.Series.CountRefused(new UnitId("fu-2")));
    }

    // MQTT 3.1.1 [3.1.3-6, from memory]: a server may let a client with a clean session leave its id empty, and then must name it.
    [Theory]
    [InlineData(MqttProtocolVersion.V311)]
    [InlineData(MqttProtocolVersion.V500)]
    public async Task Units_that_leave_their_client_id_empty_are_named_apart(MqttProtocolVersion version)
    {
        using var one = await ConnectAsync("fu-1", secret, "", version);
        using var two = await ConnectAsync("fu-1", secret, "", version);
        await PublishAsync(one, "tankwatch/v1/fu-1/level", SampleSite.Level(DateTimeOffset.UnixEpoch.AddYears(55), "roof", "110", 1));
        await PublishAsync(two, "tankwatch/v1/fu-1/level", SampleSite.Level(DateTimeOffset.UnixEpoch.AddYears(55), "roof", "100", 2));
        Assert.Equal(2, rig.Series.ReadFrom(SampleSite.Plan(SampleSite.Json()), DateTimeOffset.MinValue).Count);
    }

    [Fact]
    public async Task A_unit_cannot_listen_to_others()
    {
        using var unit = await ConnectAsync("fu-1", secret);
        var result = await unit.SubscribeAsync(new MqttClientSubscribeOptionsBuilder().WithTopicFilter("#").Build(), Stop);
        Assert.Equal(MqttClientSubscribeResultCode.NotAuthorized, result.Items.Single().ResultCode);
    }

    [Fact]
    public async Task A_unit_neither_takes_over_nor_keeps_out_another_by_its_client_id()
    {
        rig.Put(SampleSite.Json("birch-row", "fu-2"));
        var other = rig.Ledger.AddUnit(new("fu-2"), new("birch-row")).Secret!;
        using var one = await ConnectAsync("fu-1", secret, clientId: "shared");
        using var two = await ConnectAsync("fu-2", other, clientId: "shared");
        await PublishAsync(one, "tankwatch/v1/fu-1/status", """{"online":true}""");
        await PublishAsync(two, "tankwatch/v1/fu-2/status", """{"online":true}""");
    }

    [Fact]
    public async Task A_unit_may_come_back_under_its_own_client_id()
    {
        using var before = await ConnectAsync("fu-1", secret, clientId: "mine");
        using var after = await ConnectAsync("fu-1", secret, clientId: "mine");
        await PublishAsync(after, "tankwatch/v1/fu-1/status", """{"online":true}""");
        await Eventually.Holds(() => !before.IsConnected, "the end of the older connection");
        rig.Ledger.RevokeUnit(new("fu-1"));
        await Eventually.Holds(() => !after.IsConnected, "the end of the newer connection after the revocation");
    }

    [Fact]
    public async Task A_revoked_unit_is_put_out_and_not_let_in_again()
    {
        using var unit = await ConnectAsync("fu-1", secret);
        rig.Ledger.RevokeUnit(new("fu-1"));
        await Eventually.Holds(() => !unit.IsConnected, "the end of the connection");
        using var again = factory.CreateMqttClient();
        Assert.Equal(
            MqttClientConnectResultCode.BadUserNameOrPassword,
            (await again.ConnectAsync(Options("fu-1", secret, "c2", MqttProtocolVersion.V500), Stop)).ResultCode);
    }

    [Fact]
    public async Task A_unit_that_breaks_off_leaves_its_will()
    {
        var unit = factory.CreateMqttClient();
        var will = new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", options.ListenPort).WithClientId("c1").WithCredentials("fu-1", secret)
            .WithWillTopic("tankwatch/v1/fu-1/status").WithWillPayload("""{"online":false,"boot":1}""").WithWillQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce)
            .Build();
        await unit.ConnectAsync(will, Stop);
        unit.Dispose();
        await Eventually.Holds(() => rig.Series.ReadFrom(SampleSite.Plan(SampleSite.Json()), DateTimeOffset.MinValue).Count == 1, "the will");
    }

    [Fact]
    public async Task No_acknowledgement_goes_out_while_the_store_fails_and_it_goes_when_it_works()
    {
        using var unit = await ConnectAsync("fu-1", secret, version: MqttProtocolVersion.V311);
        Task published;
        using (var intruder = new Microsoft.Data.Sqlite.SqliteConnection($"Data Source={rig.Database.File};Pooling=False"))
        {
            intruder.Open();
            using var locked = intruder.BeginTransaction(deferred: false);
            published = PublishAsync(unit, "tankwatch/v1/fu-1/status", """{"online":true}""");
            await Eventually.Holds(() => !rig.Ready.IsReady, "the store's fault in the readiness");
            Assert.False(published.IsCompleted);
        }

        await published;
        Assert.Single(rig.Series.ReadFrom(SampleSite.Plan(SampleSite.Json()), DateTimeOffset.MinValue));
    }

    [Fact]
    public async Task A_service_that_goes_down_with_a_message_it_could_not_store_acknowledges_nothing()
    {
        using var unit = await ConnectAsync("fu-1", secret, version: MqttProtocolVersion.V311);
        using var intruder = new Microsoft.Data.Sqlite.SqliteConnection($"Data Source={rig.Database.File};Pooling=False");
        intruder.Open();
        using var locked = intruder.BeginTransaction(deferred: false);
        var published = PublishAsync(unit, "tankwatch/v1/fu-1/status", """{"online":true}""");
        await Eventually.Holds(() => !rig.Ready.IsReady, "the store's fault in the readiness");
        await rig.Keeper.StopAsync(Stop);
        await Assert.ThrowsAnyAsync<Exception>(() => published);
    }

    [Fact]
    public async Task An_unknown_topic_is_kept_for_the_operator_and_the_next_message_is_unharmed()
    {
        using var unit = await ConnectAsync("fu-1", secret);
        await PublishAsync(unit, "tankwatch/v1/fu-1/weather", "{}");
        await PublishAsync(unit, "tankwatch/v1/fu-1/status", """{"online":true}""");
        Assert.Equal("unknown-topic", Assert.Single(rig.Series.ListRefused(new("fu-1"), null, 10)).Reason);
        Assert.Single(rig.Series.ReadFrom(SampleSite.Plan(SampleSite.Json()), DateTimeOffset.MinValue));
    }

    [Fact]
    public async Task The_open_broker_of_the_demo_lets_anybody_in_and_forwards()
    {
        var demo = new MqttOptions { ListenPort = MailServer.FreePort() };
        using var open = await StartAsync(open: true, demo);
        using var reader = factory.CreateMqttClient();
        var heard = new TaskCompletionSource<string>(TaskCreationOptions.RunContinuationsAsynchronously);
        reader.ApplicationMessageReceivedAsync += args => Task.FromResult(heard.TrySetResult(args.ApplicationMessage.Topic));
        await reader.ConnectAsync(new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", demo.ListenPort).Build(), Stop);
        await reader.SubscribeAsync(new MqttClientSubscribeOptionsBuilder().WithTopicFilter("#").Build(), Stop);
        await PublishAsync(reader, "tankwatch/v1/fu-1/status", """{"online":true}""");
        Assert.Equal("tankwatch/v1/fu-1/status", await heard.Task.WaitAsync(TimeSpan.FromSeconds(60), Stop));
        await open.StopAsync(Stop);
    }

    [Fact]
    public async Task A_port_in_use_stops_the_start()
    {
        using var second = Broker(open: false, options);
        await Assert.ThrowsAsync<System.Net.Sockets.SocketException>(() => second.StartAsync(Stop));
    }

    private EmbeddedBroker Broker(bool open, MqttOptions mqtt) =>
        new(mqtt, new BrokerAccess(open), rig.Ledger, rig.Inbox, rig.Ready, TimeProvider.System, NullLogger<EmbeddedBroker>.Instance);

    private async Task<EmbeddedBroker> StartAsync(bool open, MqttOptions mqtt)
    {
        var started = Broker(open, mqtt);
        await started.StartAsync(CancellationToken.None);
        return started;
    }

    private MqttClientOptions Options(string user, string password, string clientId, MqttProtocolVersion version) =>
        new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", options.ListenPort).WithClientId(clientId).WithCredentials(user, password)
            .WithProtocolVersion(version).WithTimeout(TimeSpan.FromSeconds(20)).Build();

    private async Task<IMqttClient> ConnectAsync(
        string user, string password, string clientId = "c1", MqttProtocolVersion version = MqttProtocolVersion.V500)
    {
        var client = factory.CreateMqttClient();
        var connected = await client.ConnectAsync(Options(user, password, clientId, version), Stop);
        Assert.Equal(MqttClientConnectResultCode.Success, connected.ResultCode);
        return client;
    }

    private static async Task PublishAsync(IMqttClient client, string topic, string json) => Assert.True((await client.PublishAsync(
        new MqttApplicationMessageBuilder().WithTopic(topic).WithPayload(json).WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).Build(), Stop)).IsSuccess);
}
