using MQTTnet;
using MQTTnet.Protocol;
using MQTTnet.Server;
using TankWatch.Core.Sparkplug;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Ingest;

/// <summary>
/// Speaks as a Sparkplug host application within the embedded broker, and says what a unit may do there: publish as its own edge node, and
/// hear the commands to it and whether the host is there.
/// </summary>
internal sealed class EmbeddedSparkplug(string hostId, SparkplugHost host, TimeProvider time)
{
    /// <summary>Nobody who connects can guess it, and so none can pass for us.</summary>
    private readonly string sender = $"host-{Guid.NewGuid():N}";

    /// <summary>Whether a message is our own, on its way to the units.</summary>
    public bool IsOurs(string clientId) => clientId == sender;

    /// <returns>Null for a topic that is not of Sparkplug; else whether the unit may publish to it.</returns>
    public bool? MayPublish(string? unit, string topic) => !topic.StartsWith($"{SparkplugTopic.Namespace}/", StringComparison.Ordinal) ? null
        : unit is not null && SparkplugTopic.Find(topic) is { } own && host.Speaks(new(unit), own.Node);

    public bool MaySubscribe(string? unit, string filter) => unit is not null && filter.Split('/') switch
    {
        [SparkplugTopic.Namespace, "STATE", var id] => id == hostId,
        [SparkplugTopic.Namespace, var group, "NCMD", var node] => host.Speaks(new(unit), new(group, node)),
        [SparkplugTopic.Namespace, var group, "DCMD", var node, ..] => host.Speaks(new(unit), new(group, node)),
        _ => false,
    };

    /// <summary>Says that the host is there, and asks edge nodes for their births, until the broker stops.</summary>
    public async Task SpeakAsync(MqttServer server, CancellationToken stop)
    {
        var hasSpoken = false;
        try
        {
            while (true)
            {
                var changed = host.Changed;
                if (host.Groups.Count > 0 && !hasSpoken)
                {
                    hasSpoken = true;
                    await SayAsync(server, HostState.TopicOf(hostId), HostState.PayloadOf(true, time.GetUtcNow()), retain: true, stop);
                }

                foreach (var node in host.TakeRebirths())
                {
                    var (topic, payload) = HostState.Rebirth(node, time.GetUtcNow());
                    await SayAsync(server, topic, payload, retain: false, stop);
                }

                await changed.WaitAsync(stop);
            }
        }
        catch (OperationCanceledException)
        {
            // The broker stops, and what it retained goes with it.
        }
    }

    private Task SayAsync(MqttServer server, string topic, byte[] payload, bool retain, CancellationToken stop) => server.InjectApplicationMessage(
        new InjectedMqttApplicationMessage(new MqttApplicationMessageBuilder().WithTopic(topic).WithPayload(payload).WithRetainFlag(retain)
            .WithQualityOfServiceLevel(retain ? MqttQualityOfServiceLevel.AtLeastOnce : MqttQualityOfServiceLevel.AtMostOnce).Build()) { SenderClientId = sender }, stop);
}
