namespace TankWatch.Core.Sparkplug;

/// <summary>The kinds of Sparkplug message that an edge node sends; their names in topics are those of the standard.</summary>
public enum SparkplugType { NBIRTH, NDEATH, NDATA, DBIRTH, DDEATH, DDATA }

/// <summary>An edge node: what has one connection, one birth and one count of messages.</summary>
public readonly record struct EdgeNodeId(string Group, string Node);

/// <summary><c>spBv1.0/{group}/{type}/{node}[/{device}]</c> (Sparkplug 3.0, 4.1).</summary>
/// <param name="Node">Who sent it.</param>
/// <param name="Type">What it is.</param>
/// <param name="Device">Empty for the edge node itself.</param>
public readonly record struct SparkplugTopic(EdgeNodeId Node, SparkplugType Type, string Device)
{
    public const string Namespace = "spBv1.0";

    public override string ToString() => $"{Namespace}/{Node.Group}/{Type}/{Node.Node}{(Device == "" ? "" : $"/{Device}")}";

    /// <returns>Null for any other topic, commands and states of hosts included.</returns>
    public static SparkplugTopic? Find(string topic)
    {
        if (!topic.StartsWith($"{Namespace}/", StringComparison.Ordinal)
            || topic.Split('/') is not [_, { Length: > 0 } group, { Length: > 0 } name, { Length: > 0 } node, .. var rest])
        {
            return null;
        }

        var ofDevice = name is "DBIRTH" or "DDEATH" or "DDATA";
        if ((!ofDevice && name is not ("NBIRTH" or "NDEATH" or "NDATA")) || rest.Length != (ofDevice ? 1 : 0) || rest is [""])
        {
            return null;
        }

        return new(new(group, node), Enum.Parse<SparkplugType>(name), ofDevice ? rest[0] : "");
    }
}
