using System.Net;
using System.Net.Sockets;
using MQTTnet;
using MQTTnet.Exceptions;
using MQTTnet.Protocol;
using TankWatch.Core.FieldMessages;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Storage;

namespace TankWatch.Service.Own;

/// <summary>The made-up unit's connection: to the embedded broker with credentials of its own, to an external one with the service's.</summary>
internal sealed class OwnUnit(MqttOptions options, LedgerStore ledger) : IOwnUnit, IDisposable
{
    private readonly IMqttClient client = new MqttClientFactory().CreateMqttClient();

    public async Task SayAsync(string kind, string json, CancellationToken stop)
    {
        try
        {
            if (!client.IsConnected)
            {
                await client.ConnectAsync(await DialAsync(stop), stop);
            }

            var taken = await client.PublishAsync(
                new MqttApplicationMessageBuilder().WithTopic($"{FieldMessageDecoder.TopicPrefix}{OwnSite.Unit}/{kind}").WithPayload(json)
                    .WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).Build(), stop);
            if (!taken.IsSuccess)
            {
                throw new OwnUnitException($"the broker answered {taken.ReasonCode}");
            }
        }
        catch (Exception fault) when (fault is MqttCommunicationException or MqttCommunicationTimedOutException or SocketException or IOException or TimeoutException or InvalidOperationException
            || (fault is OperationCanceledException && !stop.IsCancellationRequested))
        {
            throw new OwnUnitException(Database.OneLine(fault));
        }
    }

    public void Dispose() => client.Dispose();

    private async Task<MqttClientOptions> DialAsync(CancellationToken stop)
    {
        if (options.Mode == MqttMode.External)
        {
            return await BrokerDialling.OwnUnitAsync(options, stop);
        }

        // Made anew at every start: nobody else has ever seen it.
        ledger.RevokeUnit(OwnSite.Unit);
        var secret = ledger.AddUnit(OwnSite.Unit, Core.SiteId.Own).Secret ?? throw new OwnUnitException("the service's own unit got no credentials");
        var address = IPAddress.Parse(options.ListenAddress);
        address = address.Equals(IPAddress.Any) ? IPAddress.Loopback : address.Equals(IPAddress.IPv6Any) ? IPAddress.IPv6Loopback : address;
        return BrokerDialling.Usual(address.ToString(), options.ListenPort, OwnSite.Unit.Value).WithCredentials(OwnSite.Unit.Value, secret).Build();
    }
}
