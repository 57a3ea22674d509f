using Microsoft.Extensions.Hosting;
using Microsoft.Extensions.Logging.Abstractions;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Own;
using TankWatch.Service.Tests.Ingest;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Own;

/// <summary>The made-up unit at real brokers.</summary>
public sealed class OwnUnitTests
{
    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public async Task What_it_says_comes_in_by_the_broker(bool embedded)
    {
        await using var rig = Rig.New(TimeProvider.System);
        Assert.Null(rig.Ledger.PutSite(OwnSite.Plan, OwnSite.Json));
        await rig.StartAsync();
        await using var mosquitto = embedded ? null : await Mosquitto.StartedAsync();
        var options = new MqttOptions
        {
            Mode = embedded ? MqttMode.Embedded : MqttMode.External, ListenPort = MailServer.FreePort(), Host = mosquitto?.Host, Port = mosquitto?.Port ?? 1, ClientId = $"own-unit-test-{Guid.NewGuid():N}",
        };
        using BackgroundService broker = embedded
            ? new EmbeddedBroker(options, new(Open: false), rig.Ledger, rig.Inbox, rig.Ready, TimeProvider.System, NullLogger<EmbeddedBroker>.Instance)
            : new ExternalBroker(options, rig.Inbox, rig.Ready, TimeProvider.System, NullLogger<ExternalBroker>.Instance);
        await broker.StartAsync(Stop);
        await Eventually.Holds(() => rig.Ready.Stages.Single(stage => stage.Name == "broker").Ok, "a broker");
        using var unit = new OwnUnit(options, rig.Ledger);
        var (kind, json) = OwnSite.Full(0, TimeProvider.System.GetUtcNow());
        await unit.SayAsync(kind, json, Stop);
        await Eventually.Holds(() => rig.Series.ReadFrom(OwnSite.Plan, DateTimeOffset.MinValue).Count == 1, "the message");
        await broker.StopAsync(Stop);
    }

    [Fact]
    public async Task A_broker_that_is_not_there_is_said_in_one_line()
    {
        await using var rig = Rig.New(TimeProvider.System);
        Assert.Null(rig.Ledger.PutSite(OwnSite.Plan, OwnSite.Json));
        using var unit = new OwnUnit(new() { ListenPort = MailServer.FreePort() }, rig.Ledger);
        var fault = await Assert.ThrowsAsync<OwnUnitException>(() => unit.SayAsync("level", "{}", Stop));
        Assert.DoesNotContain('\n', fault.Message);
    }
}
