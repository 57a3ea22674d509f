using Microsoft.Extensions.Logging.Abstractions;
using MQTTnet;
using MQTTnet.Formatter;
using MQTTnet.Protocol;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Ingest;

public sealed class PublisherTraceTests
{
    /// <summary>The example of W3C Trace Context, 3.2.4. [M]</summary>
    private const string Told = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01";

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Theory]
    [InlineData(Told, Told)]
    [InlineData("", null)]
    [InlineData("00-00000000000000000000000000000000-b7ad6b7169203331-01", null)] // No trace has the id zero.
    [InlineData("00-0af7651916cd43dd8448eb211c80319c-0000000000000000-01", null)]
    [InlineData("ff-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01", null)] // There is no such version.
    [InlineData("00-0AF7651916CD43DD8448EB211C80319C-B7AD6B7169203331-01", null)] // Lower case is asked for.
    [InlineData("00-0af7651916cd43dd8448eb211c80319g-b7ad6b7169203331-01", null)]
    [InlineData("00_0af7651916cd43dd8448eb211c80319c_b7ad6b7169203331_01", null)]
    [InlineData("00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-0", null)]
    [InlineData("00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01-more", null)]
    [InlineData("<script>alert(1)</script>\r\n\0 that is just fifty-five lon", null)]
    public void Only_a_well_formed_traceparent_is_one(string value, string? taken) =>
        Assert.Equal(taken, PublisherTrace.Of([new("other", "other"u8.ToArray()), new("traceparent", System.Text.Encoding.UTF8.GetBytes(value))]));

    [Fact]
    public void What_is_too_long_or_no_text_or_not_there_is_no_traceparent()
    {
        Assert.Null(PublisherTrace.Of(null));
        Assert.Null(PublisherTrace.Of([new("Traceparent", System.Text.Encoding.UTF8.GetBytes(Told))]));
        Assert.Null(PublisherTrace.Of([new("traceparent", new byte[60_000])]));
        Assert.Null(PublisherTrace.Of([new("traceparent", Enumerable.Repeat((byte)0xff, Told.Length).ToArray())]));
    }

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public async Task The_embedded_broker_hands_it_on(bool open)
    {
        await using var rig = Rig.New(TimeProvider.System);
        Assert.Null(rig.Put(SampleSite.Json()));
        var secret = rig.Ledger.AddUnit(new("fu-1"), new("alder-row")).Secret!;
        var inbox = new SiteInbox();
        var options = new MqttOptions { ListenPort = MailServer.FreePort() };
        using var broker = new EmbeddedBroker(
            options, new BrokerAccess(open), rig.Ledger, inbox, rig.Ready, TimeProvider.System, NullLogger<EmbeddedBroker>.Instance);
        await broker.StartAsync(Stop);
        await AssertHandedOnAsync("127.0.0.1", options.ListenPort, inbox, secret);
        await broker.StopAsync(Stop);
    }

    [Fact]
    public async Task An_external_broker_hands_it_on()
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var rig = Rig.New(TimeProvider.System);
        var inbox = new SiteInbox();
        var options = new MqttOptions
        {
            Mode = MqttMode.External, Host = mosquitto.Host, Port = mosquitto.Port, ClientId = $"tankwatch-test-{Guid.NewGuid():N}",
        };
        rig.Ready.Set(Stage.Broker, "not yet");
        using var broker = new ExternalBroker(options, inbox, rig.Ready, TimeProvider.System, NullLogger<ExternalBroker>.Instance);
        await broker.StartAsync(Stop);
        await Eventually.Holds(() => rig.Ready.Stages[1].Ok, "the connection to mosquitto");
        await AssertHandedOnAsync(mosquitto.Host, mosquitto.Port, inbox, "");
        await broker.StopAsync(Stop);
    }

    private static async Task AssertHandedOnAsync(string host, int port, SiteInbox inbox, string secret)
    {
        using var unit = new MqttClientFactory().CreateMqttClient();
        await unit.ConnectAsync(new MqttClientOptionsBuilder().WithTcpServer(host, port).WithProtocolVersion(MqttProtocolVersion.V500).WithCredentials("fu-1", secret).Build(), Stop);
        var sent = unit.PublishAsync(
            new MqttApplicationMessageBuilder().WithTopic("tankwatch/v1/fu-1/status").WithPayload("{}").WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce)
                .WithUserProperty("traceparent", System.Text.Encoding.UTF8.GetBytes(Told)).Build(), Stop);
        var work = Assert.IsType<Work.Message>(await inbox.Reader.ReadAsync(Stop).AsTask().WaitAsync(TimeSpan.FromSeconds(30), TimeProvider.System, Stop));
        work.Receipt.Durable();
        Assert.Equal(Told, work.Received.Trace);
        Assert.True((await sent).IsSuccess);
    }
}
