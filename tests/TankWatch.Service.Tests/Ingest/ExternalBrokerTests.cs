using Microsoft.Extensions.Logging.Abstractions;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Core;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Ingest;

/// <summary>Against a real mosquitto.</summary>
public sealed class ExternalBrokerTests
{
    private static readonly DateTimeOffset At = new(2026, 3, 2, 12, 0, 0, TimeSpan.Zero);
    private readonly string clientId = $"tankwatch-test-{Guid.NewGuid():N}";

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task Messages_come_through_and_refused_ones_hold_up_nothing()
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var rig = await Rig.RunningAsync(TimeProvider.System);
        using var broker = await ListenAsync(rig, mosquitto);
        using var unit = await UnitAsync(mosquitto);
        await PublishAsync(unit, "level", "{broken");
        await PublishAsync(unit, "level", new string(' ', 300_000));
        await PublishAsync(unit, "level", SampleSite.Level(At, "roof", "110", 1));
        await Eventually.Holds(() => Taken(rig) == 1, "the message");
        Assert.Equal(["too-large", "malformed-json"], rig.Series.ListRefused(new UnitId("fu-1"), null, 10).Select(refused => refused.Reason));
        await broker.StopAsync(Stop);
    }

    [Fact]
    public async Task What_is_published_while_the_service_is_down_is_kept_for_it_and_taken_once()
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var rig = await Rig.RunningAsync(TimeProvider.System);
        using (var broker = await ListenAsync(rig, mosquitto))
        {
            await broker.StopAsync(Stop);
        }

        using var unit = await UnitAsync(mosquitto);
        for (var seq = 1; seq <= 500; seq++)
        {
            await PublishAsync(unit, "level", SampleSite.Level(At.AddSeconds(seq), "roof", "110", seq));
        }

        using var again = await ListenAsync(rig, mosquitto);
        await Eventually.Holds(() => Taken(rig) == 500, "the 500 messages");
        Assert.Equal(0, rig.Directory.Find(new("alder-row"))!.Units[0].Duplicates);
        await again.StopAsync(Stop);
    }

    [Fact] // They are read, and not counted when the message is done: twice as much as may be held would end all reading.
    public async Task Properties_that_nobody_needs_do_not_stop_what_comes_after_them()
    {
        const int Count = 2000;
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var rig = await Rig.RunningAsync(TimeProvider.System);
        using var broker = await ListenAsync(rig, mosquitto);
        using var unit = await UnitAsync(mosquitto);
        for (var seq = 1; seq <= Count; seq++)
        {
            await unit.PublishAsync(
                new MqttApplicationMessageBuilder().WithTopic("tankwatch/v1/fu-1/level").WithPayload(SampleSite.Level(At.AddSeconds(seq), "roof", "110", seq))
                    .WithCorrelationData(new byte[4096]).WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).Build(), Stop);
        }

        await Eventually.Holds(() => Taken(rig) == Count, "all of them");
        await broker.StopAsync(Stop);
    }

    [Fact]
    public async Task What_the_store_did_not_take_is_delivered_again_after_a_restart()
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var rig = await Rig.RunningAsync(TimeProvider.System, TimeSpan.FromMilliseconds(50));
        var broker = await ListenAsync(rig, mosquitto);
        using var unit = await UnitAsync(mosquitto);
        using (var intruder = new Microsoft.Data.Sqlite.SqliteConnection($"Data Source={rig.Database.File};Pooling=False"))
        {
            intruder.Open();
            using var locked = intruder.BeginTransaction(deferred: false);
            for (var seq = 1; seq <= 20; seq++)
            {
                await PublishAsync(unit, "level", SampleSite.Level(At.AddSeconds(seq), "roof", "110", seq));
            }

            await Eventually.Holds(() => !rig.Ready.IsReady, "the store's fault in the readiness");
            await rig.Keeper.StopAsync(Stop); // Goes down with messages in hand that were never stored.
            await broker.StopAsync(Stop);
            broker.Dispose();
        }

        Assert.Equal(0, Taken(rig));
        await rig.StopAsync();
        await using var again = rig.Again();
        await again.StartAsync();
        using var next = await ListenAsync(again, mosquitto);
        await Eventually.Holds(() => Taken(again) == 20, "the 20 messages");
        await next.StopAsync(Stop);
    }

    [Fact]
    public async Task What_arrives_while_the_service_drains_is_left_for_the_next_start()
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var rig = await Rig.RunningAsync(TimeProvider.System, TimeSpan.FromMilliseconds(50));
        using var unit = await UnitAsync(mosquitto);
        using var broker = await ListenAsync(rig, mosquitto);
        Task stopping;
        using (var intruder = new Microsoft.Data.Sqlite.SqliteConnection($"Data Source={rig.Database.File};Pooling=False"))
        {
            intruder.Open();
            using var locked = intruder.BeginTransaction(deferred: false);
            await PublishAsync(unit, "level", SampleSite.Level(At, "roof", "110", 0));
            await Eventually.Holds(() => !rig.Ready.IsReady, "the store's fault in the readiness");
            stopping = broker.StopAsync(Stop); // Waits for the message in hand; the broker goes on delivering.
            for (var seq = 1; seq <= 200; seq++)
            {
                await PublishAsync(unit, "level", SampleSite.Level(At.AddSeconds(seq), "roof", "110", seq));
            }
        }

        await stopping;
        using var next = await ListenAsync(rig, mosquitto);
        await Eventually.Holds(() => Taken(rig) == 201, "all that was published");
        await next.StopAsync(Stop);
    }

    [Fact]
    public async Task A_broker_that_is_killed_and_comes_back_is_found_again_and_nothing_it_acknowledged_is_lost()
    {
        await using var mosquitto = await Mosquitto.StartedAsync(mustBeOurs: true);
        await using var rig = await Rig.RunningAsync(TimeProvider.System);
        using var broker = await ListenAsync(rig, mosquitto);
        var acknowledged = 0;
        using (var unit = await UnitAsync(mosquitto))
        {
            for (; acknowledged < 50; acknowledged++)
            {
                await PublishAsync(unit, "level", SampleSite.Level(At.AddSeconds(acknowledged), "roof", "110", acknowledged));
            }

            await Eventually.Holds(() => Taken(rig) == 50, "the messages before the kill");
            await mosquitto.KillAsync();
        }

        await Eventually.Holds(() => !rig.Ready.IsReady, "the loss of the broker in the readiness");
        await mosquitto.StartAsync();
        await Eventually.Holds(() => rig.Ready.IsReady, "the broker found again", TimeSpan.FromSeconds(60));
        using var after = await UnitAsync(mosquitto);
        for (; acknowledged < 100; acknowledged++)
        {
            await PublishAsync(after, "level", SampleSite.Level(At.AddSeconds(acknowledged), "roof", "110", acknowledged));
        }

        await Eventually.Holds(() => Taken(rig) == 100, "the messages after the kill");
        await broker.StopAsync(Stop);
    }

    [Fact]
    public async Task A_shared_subscription_delivers_too()
    {
        await using var mosquitto = await Mosquitto.StartedAsync();
        await using var rig = await Rig.RunningAsync(TimeProvider.System);
        using var broker = await ListenAsync(rig, mosquitto, share: "testers");
        using var unit = await UnitAsync(mosquitto);
        await PublishAsync(unit, "level", SampleSite.Level(At, "roof", "110", 1));
        await Eventually.Holds(() => Taken(rig) == 1, "the message");
        await broker.StopAsync(Stop);
    }

    [Fact]
    public async Task A_broker_that_is_not_there_makes_the_service_unready_with_the_reason()
    {
        await using var rig = await Rig.RunningAsync(TimeProvider.System);
        using var broker = new ExternalBroker(
            new MqttOptions { Host = "127.0.0.1", Port = MailServer.FreePort(), ClientId = clientId }, rig.Inbox, rig.Ready, TimeProvider.System, NullLogger<ExternalBroker>.Instance);
        await broker.StartAsync(Stop);
        await Eventually.Holds(() => rig.Ready.Stages[1].Reason?.StartsWith("no connection to the broker", StringComparison.Ordinal) == true, "the reason");
        Assert.DoesNotContain('\n', rig.Ready.Stages[1].Reason!);
        await broker.StopAsync(Stop);
    }

    private async Task<ExternalBroker> ListenAsync(Rig rig, Mosquitto mosquitto, string? share = null)
    {
        var options = new MqttOptions { Mode = MqttMode.External, Host = mosquitto.Host, Port = mosquitto.Port, ClientId = clientId, ShareName = share };
        rig.Ready.Set(Stage.Broker, "not yet");
        var broker = new ExternalBroker(options, rig.Inbox, rig.Ready, TimeProvider.System, NullLogger<ExternalBroker>.Instance);
        await broker.StartAsync(Stop);
        await Eventually.Holds(() => rig.Ready.Stages[1].Ok, "the connection to mosquitto");
        return broker;
    }

    private static async Task<IMqttClient> UnitAsync(Mosquitto mosquitto)
    {
        var client = new MqttClientFactory().CreateMqttClient();
        await client.ConnectAsync(new MqttClientOptionsBuilder().WithTcpServer(mosquitto.Host, mosquitto.Port).Build(), Stop);
        return client;
    }

    private static async Task PublishAsync(IMqttClient client, string kind, string json) => Assert.True((await client.PublishAsync(
        new MqttApplicationMessageBuilder().WithTopic($"tankwatch/v1/fu-1/{kind}").WithPayload(json)
            .WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).Build(), Stop)).IsSuccess);

    private static long Taken(Rig rig) => rig.Series.ReadFrom(SampleSite.Plan(SampleSite.Json()), DateTimeOffset.MinValue).Count;
}
