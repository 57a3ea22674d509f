using System.Net.Sockets;
using System.Text;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>Messages of units, in bytes, on their straight way from the embedded broker to the sites. Statements of MQTT by their ids: CHECKS I2.</summary>
public sealed class UnitLinkTests : IAsyncLifetime
{
    private const string Topic = "tankwatch/v1/fu-1/level";
    private static readonly DateTimeOffset At = new(2026, 3, 2, 12, 0, 0, TimeSpan.Zero);

    private readonly MqttOptions options = new() { ListenPort = MailServer.FreePort() };
    private readonly FakeTimeProvider clock = new(At);
    private Rig rig = null!;
    private string secret = "";

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    public async ValueTask InitializeAsync()
    {
        rig = await Rig.RunningAsync(TimeProvider.System);
        secret = rig.Ledger.AddUnit(new("fu-1"), new("alder-row")).Secret!;
    }

    public ValueTask DisposeAsync() => rig.DisposeAsync();

    [Fact] // 4.6.0-2: acknowledged in the order of receipt; and not before the message is durable.
    public async Task Messages_in_flight_are_taken_together_and_acknowledged_in_their_order_when_durable()
    {
        var inbox = new SiteInbox();
        using var broker = await StartAsync(inbox);
        using var unit = await ConnectAsync();
        var ids = new ushort[] { 7, 3, 65535, 1 };
        await SendAsync(unit, [.. ids.SelectMany(id => Wire.PublishOf(Topic, id, Encoding.UTF8.GetBytes($"{id}")))]);
        var taken = new List<Work.Message>();
        foreach (var id in ids)
        {
            taken.Add(await TakenAsync(inbox));
            Assert.Equal($"{id}", Encoding.UTF8.GetString(taken[^1].Received.Payload.Span));
        }

        await SendAsync(unit, Wire.Of(Wire.PingReq, 0));
        Assert.Equal(Wire.PingResp, (await ReadAsync(unit))?.Type); // And no acknowledgement before it.
        taken.ForEach(message => message.Receipt.Durable());
        foreach (var id in ids)
        {
            var answer = await ReadAsync(unit);
            Assert.Equal((Wire.PubAck, id), (answer?.Type, (ushort)answer!.Id));
        }

        await broker.StopAsync(Stop);
    }

    [Fact]
    public async Task What_the_service_gives_up_is_not_acknowledged_and_ends_the_connection()
    {
        var inbox = new SiteInbox();
        using var broker = await StartAsync(inbox);
        using var unit = await ConnectAsync();
        await SendAsync(unit, Wire.PublishOf(Topic, 1, "{}"u8.ToArray()));
        (await TakenAsync(inbox)).Receipt.Abandoned();
        Assert.Null(await ReadAsync(unit));
        await broker.StopAsync(Stop);
    }

    [Fact] // 3.1.2-22: any packet counts, not only those that ask for an answer.
    public async Task A_unit_that_only_publishes_is_not_silent()
    {
        var inbox = new SiteInbox();
        using var broker = await StartAsync(inbox);
        using var unit = await ConnectAsync(keepAliveSeconds: 60);
        for (ushort id = 1; id <= 4; id++)
        {
            clock.Advance(TimeSpan.FromSeconds(80));
            await PublishedAsync(unit, inbox, id);
        }

        clock.Advance(TimeSpan.FromSeconds(89));
        await PublishedAsync(unit, inbox, 5);
        clock.Advance(TimeSpan.FromSeconds(91));
        Assert.Null(await ReadAsync(unit));
        await broker.StopAsync(Stop);
    }

    // 3.3.1-1, 4.4.0-1: after a reconnect the same message comes again, marked as such and under its own id. 4.3.2-5: after its
    // acknowledgement an id is free, and what comes under it is new whatever the mark says.
    [Fact]
    public async Task A_message_sent_again_on_a_new_connection_is_acknowledged_and_counts_once()
    {
        const int Duplicate = 0b1010;
        using var broker = await StartAsync(rig.Inbox);
        var message = Encoding.UTF8.GetBytes(SampleSite.Level(At, "roof", "110", 1));
        using (var before = await ConnectAsync())
        {
            await SendAsync(before, Wire.PublishOf(Topic, 9, message));
            await ReadAsync(before);
        }

        using var after = await ConnectAsync();
        await SendAsync(after, Wire.PublishOf(Topic, 9, message, Duplicate));
        Assert.Equal(9, (await ReadAsync(after))?.Id);
        await SendAsync(after, Wire.PublishOf(Topic, 9, Encoding.UTF8.GetBytes(SampleSite.Level(At.AddSeconds(1), "roof", "100", 2)), Duplicate));
        Assert.Equal(9, (await ReadAsync(after))?.Id);
        await rig.SettleAsync();
        var seen = rig.Directory.Find(new("alder-row"))!.Units[0];
        Assert.Equal((2, 1), (seen.Accepted, seen.Duplicates));
        await broker.StopAsync(Stop);
    }

    private static async Task PublishedAsync(TcpClient unit, SiteInbox inbox, ushort id)
    {
        await SendAsync(unit, Wire.PublishOf(Topic, id, "{}"u8.ToArray()));
        (await TakenAsync(inbox)).Receipt.Durable();
        Assert.Equal(id, (await ReadAsync(unit))?.Id);
    }

    private static async Task<Work.Message> TakenAsync(SiteInbox inbox) =>
        Assert.IsType<Work.Message>(await inbox.Reader.ReadAsync(Stop).AsTask().WaitAsync(TimeSpan.FromSeconds(60), Stop));

    private async Task<EmbeddedBroker> StartAsync(SiteInbox inbox)
    {
        var broker = new EmbeddedBroker(options, new(Open: false), rig.Ledger, inbox, rig.Ready, clock, NullLogger<EmbeddedBroker>.Instance);
        await broker.StartAsync(Stop);
        return broker;
    }

    private async Task<TcpClient> ConnectAsync(int keepAliveSeconds = 0)
    {
        var unit = new TcpClient("127.0.0.1", options.ListenPort);
        await SendAsync(unit, Wire.Of(
            Wire.Connect, 0, Wire.Text("MQTT"), [4, 0b1100_0010], Wire.Short(keepAliveSeconds), Wire.Text("c1"), Wire.Text("fu-1"), Wire.Text(secret)));
        Assert.Equal(Wire.ConnAck, (await ReadAsync(unit))?.Type);
        return unit;
    }

    private static Task SendAsync(TcpClient unit, byte[] bytes) => unit.GetStream().WriteAsync(bytes, Stop).AsTask();

    /// <returns>Null when the broker has closed.</returns>
    private static async Task<Wire.Packet?> ReadAsync(TcpClient unit)
    {
        try
        {
            return await Wire.ReadAsync(unit.GetStream(), Stop).WaitAsync(TimeSpan.FromSeconds(60), Stop);
        }
        catch (IOException)
        {
            return null; // Reset.
        }
    }
}
