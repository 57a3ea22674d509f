using System.Net.Sockets;
using Microsoft.Extensions.Logging.Abstractions;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>Units on bad links, in bytes, against the embedded broker. Statements of MQTT by their ids: CHECKS I2.</summary>
public sealed class ReconnectTests : IAsyncLifetime
{
    private readonly MqttOptions options = new() { ListenPort = MailServer.FreePort() };
    private readonly Rig rig = Rig.New(TimeProvider.System);
    private readonly SiteInbox inbox = new();
    private EmbeddedBroker broker = null!;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    public async ValueTask InitializeAsync()
    {
        broker = new(options, new BrokerAccess(Open: true), rig.Ledger, inbox, rig.Ready, TimeProvider.System, NullLogger<EmbeddedBroker>.Instance);
        await broker.StartAsync(CancellationToken.None);
    }

    public async ValueTask DisposeAsync()
    {
        await broker.StopAsync(CancellationToken.None);
        broker.Dispose();
        await rig.DisposeAsync();
    }

    [Fact]
    public async Task A_unit_that_comes_back_at_once_under_its_client_id_is_never_thrown_out_for_its_older_connection()
    {
        await Parallel.ForEachAsync(Enumerable.Range(0, 16), Stop, async (unit, _) =>
        {
            for (var round = 0; round < 60; round++)
            {
                using var older = await ConnectAsync($"u{unit}");
                if (round % 2 == 0)
                {
                    older.Client.Close(0); // Breaks off; else it is taken over.
                }

                using var newer = await ConnectAsync($"u{unit}");
                for (var ping = 0; ping < 3; ping++)
                {
                    await newer.GetStream().WriteAsync(Wire.Of(Wire.PingReq, 0), Stop);
                    Assert.Equal(Wire.PingResp, (await Wire.ReadAsync(newer.GetStream(), Stop))?.Type);
                }
            }
        });
    }

    [Fact] // 3.1.4-3: the older connection is closed.
    public async Task A_newer_connection_ends_the_older_and_the_older_ones_will_is_not_heard()
    {
        using var older = await ConnectAsync("u1", Wire.Text("tankwatch/v1/u1/status"), Wire.Text("""{"online":false}"""));
        using var newer = await ConnectAsync("u1");
        Assert.Null(await Wire.ReadAsync(older.GetStream(), Stop));
        await newer.GetStream().WriteAsync(Wire.PublishOf("tankwatch/v1/u1/status", 1, """{"online":true}"""u8.ToArray()), Stop);
        var first = Assert.IsType<Work.Message>(await inbox.Reader.ReadAsync(Stop));
        Assert.Contains("true", System.Text.Encoding.UTF8.GetString(first.Received.Payload.Span), StringComparison.Ordinal);
        first.Receipt.Durable();
        Assert.Equal(Wire.PubAck, (await Wire.ReadAsync(newer.GetStream(), Stop))?.Type);
        Assert.Equal(0, inbox.Depth);
    }

    [Fact] // 3.1.2-22: silence of 1.5 times the keep alive ends the connection; 3.1.2-8: the will is published then.
    public async Task A_half_open_unit_is_closed_after_one_and_a_half_times_its_keep_alive_and_its_will_is_heard()
    {
        var connectedAt = TimeProvider.System.GetTimestamp();
        using var unit = await ConnectAsync("u1", Wire.Text("tankwatch/v1/u1/status"), Wire.Text("""{"online":false}"""), keepAliveSeconds: 2);
        Assert.Null(await Wire.ReadAsync(unit.GetStream(), Stop).WaitAsync(TimeSpan.FromSeconds(60), Stop));
        Assert.InRange(TimeProvider.System.GetElapsedTime(connectedAt).TotalSeconds, 2.9, 15);
        var will = Assert.IsType<Work.Message>(await inbox.Reader.ReadAsync(Stop));
        Assert.Equal("tankwatch/v1/u1/status", will.Received.Topic);
        will.Receipt.Durable();
    }

    [Fact] // 3.14.4-3: no will after a farewell.
    public async Task A_unit_that_takes_leave_leaves_no_will()
    {
        using var unit = await ConnectAsync("u1", Wire.Text("tankwatch/v1/u1/status"), Wire.Text("{}"));
        await unit.GetStream().WriteAsync(Wire.Of(Wire.Disconnect, 0), Stop);
        Assert.Null(await Wire.ReadAsync(unit.GetStream(), Stop));
        Assert.Equal(0, inbox.Depth);
    }

    [Fact] // 4.3.2-4, 4.6.0-2: PUBACKs with the packets' ids, in their order, each only when its message is durable.
    public async Task A_puback_waits_for_its_message_and_none_overtakes_another()
    {
        using var unit = await ConnectAsync("u1");
        foreach (ushort id in new ushort[] { 9, 2, 65535 })
        {
            await unit.GetStream().WriteAsync(Wire.PublishOf("tankwatch/v1/u1/level", id, "{}"u8.ToArray(), flags: id == 2 ? 0b1010 : 0b0010), Stop);
        }

        foreach (var id in new[] { 9, 2, 65535 })
        {
            Assert.Equal(0, unit.Available);
            Assert.IsType<Work.Message>(await inbox.Reader.ReadAsync(Stop)).Receipt.Durable();
            Assert.Equal(id, (await Wire.ReadAsync(unit.GetStream(), Stop))!.Id);
        }
    }

    private async Task<TcpClient> ConnectAsync(string clientId, byte[]? willTopic = null, byte[]? will = null, ushort keepAliveSeconds = 0)
    {
        var client = new TcpClient { NoDelay = true };
        await client.ConnectAsync("127.0.0.1", options.ListenPort, Stop);
        var flags = (byte)(willTopic is null ? 0b0000_0010 : 0b0000_1110);
        await client.GetStream().WriteAsync(
            Wire.Of(Wire.Connect, 0, Wire.Text("MQTT"), [4, flags], Wire.Short(keepAliveSeconds), Wire.Text(clientId), willTopic ?? [], will ?? []), Stop);
        var answer = await Wire.ReadAsync(client.GetStream(), Stop);
        Assert.Equal([0, 0], answer!.Body); // No session present [MQTT-3.2.2-3], accepted.
        return client;
    }
}
