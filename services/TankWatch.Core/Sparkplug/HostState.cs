using System.Text.Json;

namespace TankWatch.Core.Sparkplug;

/// <summary>What a host application says of itself (Sparkplug 3.0, 4.2 and 6.4.27): retained, with QoS 1, and as its will.</summary>
public static class HostState
{
    /// <summary>[host-topic-phid-birth-topic]</summary>
    public static string TopicOf(string hostId) => $"{SparkplugTopic.Namespace}/STATE/{hostId}";

    /// <param name="online">False in the will and on leaving.</param>
    /// <param name="connectedAt">The same in the will and in the birth of a connection ([host-topic-phid-birth-payload-timestamp]).</param>
    public static byte[] PayloadOf(bool online, DateTimeOffset connectedAt) =>
        JsonSerializer.SerializeToUtf8Bytes(new { online, timestamp = connectedAt.ToUnixTimeMilliseconds() });

    /// <summary>Where an edge node is asked for its births, and with what ([operational-behavior-host-reordering-rebirth]); QoS 0, not retained.</summary>
    public static (string Topic, byte[] Payload) Rebirth(EdgeNodeId node, DateTimeOffset now) =>
        ($"{SparkplugTopic.Namespace}/{node.Group}/NCMD/{node.Node}", SparkplugPayload.Rebirth(now));
}
