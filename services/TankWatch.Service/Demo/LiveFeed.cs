using MQTTnet;
using MQTTnet.Exceptions;
using MQTTnet.Protocol;
using TankWatch.Simulator;

namespace TankWatch.Service.Demo;

/// <summary>Publishes what the simulated units say, second by second, to the embedded broker.</summary>
internal sealed partial class LiveFeed(int port, IReadOnlyList<SimulatedSite> buildings, TimeProvider time, ILogger<LiveFeed> logger)
{
    public async Task RunAsync(CancellationToken stop)
    {
        var factory = new MqttClientFactory();
        using var client = factory.CreateMqttClient();
        var options = factory.CreateClientOptionsBuilder().WithTcpServer("127.0.0.1", port).WithClientId("demo-units").Build();
        using var second = new PeriodicTimer(TimeSpan.FromSeconds(1), time);
        try
        {
            await client.ConnectAsync(options, stop);
            while (await second.WaitForNextTickAsync(stop))
            {
                var now = time.GetUtcNow();
                foreach (var message in buildings.SelectMany(building => building.Advance(now)).OrderBy(m => m.ArrivesAt))
                {
                    await client.PublishAsync(MessageOf(message), stop);
                }
            }
        }
        catch (OperationCanceledException) when (stop.IsCancellationRequested)
        {
            // The demo ends.
        }
        catch (MqttCommunicationException fault)
        {
            LogEnded(fault.Message);
        }
    }

    private static MqttApplicationMessage MessageOf(SimulatedMessage message) => new MqttApplicationMessageBuilder()
        .WithTopic(message.Topic).WithPayload(message.PayloadJson)
        .WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).WithRetainFlag(message.Retained).Build();

    [LoggerMessage(Level = LogLevel.Error, Message = "the simulated units lost the broker and fall silent: {Reason}")]
    private partial void LogEnded(string reason);
}
