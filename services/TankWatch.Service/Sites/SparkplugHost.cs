using System.Collections.Immutable;
using TankWatch.Core;
using TankWatch.Core.Sparkplug;
using TankWatch.Service.Ingest;

namespace TankWatch.Service.Sites;

/// <summary>
/// The edge nodes that the site files name. The keeper alone moves them on; whoever speaks to a broker learns here what to subscribe to
/// and whom to ask for a birth. A host that starts knows of no birth and asks each node for one, as the standard foresees.
/// </summary>
public sealed class SparkplugHost
{
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(1);

    private readonly Lock gate = new();
    private readonly Dictionary<EdgeNodeId, EdgeNode> nodes = [];
    private readonly HashSet<EdgeNodeId> toAsk = [];
    private volatile ImmutableDictionary<EdgeNodeId, ImmutableArray<MappedUnit>> mapped = ImmutableDictionary<EdgeNodeId, ImmutableArray<MappedUnit>>.Empty;
    private TaskCompletionSource changed = Unchanged();
    private DateTimeOffset lookedAt;

    /// <summary>Completes when there are other groups, or someone to ask. Take it before looking, and nothing is missed between the two.</summary>
    public Task Changed => Volatile.Read(ref changed).Task;

    /// <summary>The groups to subscribe to.</summary>
    public IReadOnlySet<string> Groups => mapped.Keys.Select(node => node.Group).ToHashSet(StringComparer.Ordinal);

    /// <summary>Whether a unit speaks for an edge node.</summary>
    public bool Speaks(UnitId unit, EdgeNodeId node) => mapped.TryGetValue(node, out var units) && units.Any(known => known.Unit.Id == unit);

    /// <summary>The edge nodes to be asked for their births, each once.</summary>
    public IReadOnlyList<EdgeNodeId> TakeRebirths()
    {
        lock (gate)
        {
            var taken = toAsk.ToList();
            toAsk.Clear();
            return taken;
        }
    }

    /// <summary>A connection to a broker is new: births may have been missed before it.</summary>
    public void AskAll() => Ask(mapped.Keys);

    /// <param name="edges">By edge node, its units; another object when anything of it changed.</param>
    /// <param name="now">UTC.</param>
    internal void Follow(ImmutableDictionary<EdgeNodeId, ImmutableArray<MappedUnit>> edges, DateTimeOffset now)
    {
        if (ReferenceEquals(edges, mapped))
        {
            return;
        }

        var before = mapped;
        mapped = edges;
        foreach (var gone in before.Keys.Where(node => !edges.ContainsKey(node)))
        {
            nodes.Remove(gone);
        }

        // What a birth said is read by the mapping of its time: with another one it must be said again.
        foreach (var (node, units) in edges.Where(edge => !before.TryGetValue(edge.Key, out var known) || !known.SequenceEqual(edge.Value)))
        {
            Keep(node, EdgeNode.Start(node, units, now));
        }

        Ring();
    }

    /// <returns>What is said by it; nothing for what is no edge node's word, or of a node that no site file names: a group has others in it.</returns>
    internal ImmutableArray<EdgeWord> Take(ReceivedMessage message) =>
        !message.Retained && SparkplugTopic.Find(message.Topic) is { } topic && nodes.TryGetValue(topic.Node, out var node)
            ? Keep(topic.Node, node.Take(topic, message.Payload, message.ReceivedAt)) : [];

    /// <returns>What waited too long for a missing message.</returns>
    internal ImmutableArray<EdgeWord> Tick(DateTimeOffset now)
    {
        if ((now - lookedAt).Duration() < LookEvery)
        {
            return [];
        }

        lookedAt = now;
        return [.. nodes.Values.Where(node => node.WaitsUntil <= now).ToList().SelectMany(node => Keep(node.Id, node.Tick(now)))];
    }

    private ImmutableArray<EdgeWord> Keep(EdgeNodeId id, EdgeStep step)
    {
        nodes[id] = step.Next;
        if (step.AskRebirth)
        {
            Ask([id]);
        }

        return step.Said;
    }

    private void Ask(IEnumerable<EdgeNodeId> ids)
    {
        lock (gate)
        {
            toAsk.UnionWith(ids);
        }

        Ring();
    }

    private void Ring() => Interlocked.Exchange(ref changed, Unchanged()).TrySetResult();

    private static TaskCompletionSource Unchanged() => new(TaskCreationOptions.RunContinuationsAsynchronously);
}
