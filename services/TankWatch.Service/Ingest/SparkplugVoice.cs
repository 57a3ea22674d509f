using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Core.Sparkplug;
using TankWatch.Service.Sites;

namespace TankWatch.Service.Ingest;

/// <summary>
/// Speaks as a Sparkplug host application over one connection: subscribes to the groups that the site files name, says that the host is
/// there, and asks edge nodes for their births. Says nothing at all as long as no site file names any.
/// </summary>
/// <param name="client">Of the connection.</param>
/// <param name="hostId">The host's id, stable over restarts.</param>
/// <param name="host">What to say.</param>
/// <param name="time">The host's clock.</param>
internal sealed class SparkplugVoice(IMqttClient client, string hostId, SparkplugHost host, TimeProvider time)
{
    private readonly HashSet<string> subscribed = new(StringComparer.Ordinal);
    private readonly DateTimeOffset connectedAt = time.GetUtcNow();
    private bool hasWill;

    /// <summary>Puts the host's death into the connection as its will; call it before connecting.</summary>
    public void AddWill(MqttClientOptionsBuilder builder)
    {
        // A broker may let nobody write under a topic of which it has never heard: the will comes with the first edge node.
        if (host.Groups.Count == 0)
        {
            return;
        }

        hasWill = true;
        builder.WithWillTopic(HostState.TopicOf(hostId)).WithWillPayload(HostState.PayloadOf(false, connectedAt))
            .WithWillQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).WithWillRetain();
    }

    /// <summary>Follows the site files until the connection ends.</summary>
    /// <param name="lost">Told why this connection cannot go on.</param>
    /// <param name="ended">The end of the connection.</param>
    public async Task SpeakAsync(Action<string> lost, CancellationToken ended)
    {
        try
        {
            while (true)
            {
                var changed = host.Changed;
                var groups = host.Groups;
                if (groups.Count > 0 && !hasWill)
                {
                    lost("connecting anew, as a Sparkplug host");
                    return;
                }

                await SubscribeAsync(groups, ended);
                foreach (var node in groups.Count > 0 ? host.TakeRebirths() : [])
                {
                    var (topic, payload) = HostState.Rebirth(node, time.GetUtcNow());
                    await client.PublishBinaryAsync(topic, payload, MqttQualityOfServiceLevel.AtMostOnce, retain: false, ended);
                }

                await changed.WaitAsync(ended);
            }
        }
        catch (OperationCanceledException)
        {
            // The connection ended.
        }
        catch (Exception fault) when (ConnectionFault.Is(fault))
        {
            lost($"nothing could be said to the edge nodes: {fault.Message.ReplaceLineEndings(" ")}");
        }
    }

    /// <summary>Says that the host goes: a will is not sent when it takes its leave.</summary>
    public Task LeaveAsync(CancellationToken patience) => subscribed.Count == 0 ? Task.CompletedTask : SayStateAsync(false, patience);

    /// <remarks>Not shared: births and numbers must come to whoever reads the data, and a second arrival changes nothing.</remarks>
    private async Task SubscribeAsync(IReadOnlySet<string> groups, CancellationToken ended)
    {
        foreach (var dropped in subscribed.Except(groups).ToList())
        {
            await client.UnsubscribeAsync($"{SparkplugTopic.Namespace}/{dropped}/#", ended);
            subscribed.Remove(dropped);
        }

        var isFirst = subscribed.Count == 0;
        foreach (var added in groups.Except(subscribed).ToList())
        {
            await client.SubscribeAsync($"{SparkplugTopic.Namespace}/{added}/#", MqttQualityOfServiceLevel.AtLeastOnce, ended);
            subscribed.Add(added);
        }

        if (isFirst && subscribed.Count > 0)
        {
            // [host-topic-phid-birth-sub-required], [host-topic-phid-birth-required]: to its own state first, then it is there.
            await client.SubscribeAsync(HostState.TopicOf(hostId), MqttQualityOfServiceLevel.AtLeastOnce, ended);
            await SayStateAsync(true, ended);
            host.AskAll();
        }
    }

    private Task<MqttClientPublishResult> SayStateAsync(bool online, CancellationToken stop) =>
        client.PublishBinaryAsync(HostState.TopicOf(hostId), HostState.PayloadOf(online, connectedAt), MqttQualityOfServiceLevel.AtLeastOnce, retain: true, stop);
}
