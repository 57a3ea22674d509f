using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Service.Ingest;
using TankWatch.Simulator;

namespace TankWatch.Service.Demo;

/// <summary>
/// Publishes what the simulated units send, second by second, through the embedded broker as real units do. One connection serves
/// them all: which unit speaks stands in the topic, and a unit's Will is among the simulated messages.
/// </summary>
/// <remarks>
/// The clock goes no further than a little ahead of what the service has taken in, less than the service allows for messages that
/// overtake each other. A feed that cannot keep up slows the clock, and what waits to be sent does not grow.
/// </remarks>
internal sealed partial class DemoFeed(DemoEstate estate, DemoClock clock, ILogger<DemoFeed> logger)
{
    /// <summary>How far the clock may run ahead of the feed. A unit's message takes half a second more.</summary>
    public static readonly TimeSpan Ahead = TimeSpan.FromSeconds(4);

    private static readonly TimeSpan Beat = TimeSpan.FromSeconds(1);

    public async Task RunAsync(int port, CancellationToken stop)
    {
        using var client = new MqttClientFactory().CreateMqttClient();
        var connection = new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", port).WithClientId("tankwatch-demo").Build();
        var waiting = new Queue<SimulatedMessage>();
        using var beat = new PeriodicTimer(Beat, clock);
        do
        {
            try
            {
                while (await GoOnAsync(client, connection, waiting, stop))
                {
                    // The clock is behind; it goes on step by step as fast as the service takes the messages.
                }
            }
            catch (Exception fault) when (ConnectionFault.Is(fault) && fault is not OperationCanceledException)
            {
                LogInterrupted(fault.Message); // What waits is sent at the next beat.
            }
        }
        while (await beat.WaitForNextTickAsync(stop));
    }

    /// <returns>Whether the clock is behind its speed.</returns>
    private async Task<bool> GoOnAsync(IMqttClient client, MqttClientOptions connection, Queue<SimulatedMessage> waiting, CancellationToken stop)
    {
        await SendAsync(client, connection, waiting, stop); // Left over from an interruption.
        var now = clock.GetUtcNow();
        foreach (var message in estate.LiveOn(now))
        {
            waiting.Enqueue(message);
        }

        await SendAsync(client, connection, waiting, stop);
        return clock.Allow(now + Ahead);
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
