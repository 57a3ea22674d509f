using MQTTnet;
using MQTTnet.Exceptions;
using MQTTnet.Protocol;
using TankWatch.Simulator;

namespace TankWatch.Service.Demo;

/// <summary>
/// Publishes what the simulated units send, second by second, through the embedded broker as real units do. One connection serves
/// them all: which unit speaks stands in the topic, and a unit's Will is among the simulated messages.
/// </summary>
internal sealed partial class DemoFeed(DemoEstate estate, TimeProvider time, ILogger<DemoFeed> logger)
{
    private static readonly TimeSpan Beat = TimeSpan.FromSeconds(1);

    public async Task RunAsync(int port, CancellationToken stop)
    {
        using var client = new MqttClientFactory().CreateMqttClient();
        var connection = new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", port).WithClientId("tankwatch-demo").Build();
        var waiting = new Queue<SimulatedMessage>();
        using var beat = new PeriodicTimer(Beat, time);
        do
        {
            foreach (var message in estate.LiveOn())
            {
                waiting.Enqueue(message);
            }

            try
            {
                await SendAsync(client, connection, waiting, stop);
            }
            catch (MqttCommunicationException fault)
            {
                LogInterrupted(fault.Message); // What waits is sent at the next beat.
            }
        }
        while (await beat.WaitForNextTickAsync(stop));
    }

    private static async Task SendAsync(
        IMqttClient client, MqttClientOptions connection, Queue<SimulatedMessage> waiting, CancellationToken stop)
    {
        if (waiting.Count > 0 && !client.IsConnected)
        {
            await client.ConnectAsync(connection, stop);
        }

        while (waiting.TryPeek(out var message))
        {
            await client.PublishAsync(
                new MqttApplicationMessageBuilder()
                    .WithTopic(message.Topic).WithPayload(message.PayloadJson).WithRetainFlag(message.Retained)
                    .WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).Build(),
                stop);
            waiting.Dequeue();
        }
    }

    [LoggerMessage(Level = LogLevel.Warning, Message = "the simulated units lost the broker: {Reason}")]
    private partial void LogInterrupted(string reason);
}
