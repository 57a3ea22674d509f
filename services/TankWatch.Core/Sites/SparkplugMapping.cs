using System.Collections.Immutable;
using TankWatch.Core.FieldMessages;
using TankWatch.Core.Sparkplug;

namespace TankWatch.Core.Sites;

/// <summary>How a unit that speaks Sparkplug B is told apart, and what its metrics mean.</summary>
/// <param name="Node">Its edge node.</param>
/// <param name="Device">Its device of that node; empty when the unit is the node itself.</param>
/// <param name="Metrics">What each metric, by its name, is about.</param>
public sealed record SparkplugMapping(EdgeNodeId Node, string Device, ImmutableDictionary<string, ReadingTarget> Metrics);

/// <summary>Reads the member <c>sparkplug</c> of a unit.</summary>
internal static class SparkplugFile
{
    private const int MaxMetrics = 1000;

    /// <param name="unit">The unit's node of the file.</param>
    /// <param name="reported">The tanks that the unit reports, and those of its pumps' ids.</param>
    /// <param name="taken">What other units have; this one is added.</param>
    /// <returns>Null when the unit has none, or a faulty one.</returns>
    public static SparkplugMapping? Read(JsonNode unit, (IReadOnlyList<Tank> Tanks, IReadOnlyCollection<string> Pumps) reported, HashSet<(EdgeNodeId, string)> taken)
    {
        if (unit.Find("sparkplug") is not { } node || !node.IsObject(["group", "node", "device", "metrics"]))
        {
            return null;
        }

        var (group, name) = (TopicLevel(node, "group", required: true), TopicLevel(node, "node", required: true));
        var device = TopicLevel(node, "device", required: false);
        if (group == "STATE")
        {
            node.Fault("group", "STATE is where hosts say that they are there");
        }

        var metrics = Metrics(node, reported);
        if (group is null || name is null || metrics is null)
        {
            return null;
        }

        if (!taken.Add((new(group, name), device ?? "")))
        {
            node.Fault("another unit has this group, node and device already");
        }

        return new(new(group, name), device ?? "", metrics);
    }

    private static string? TopicLevel(JsonNode node, string member, bool required)
    {
        var text = node.Text(member, required);
        if (text?.IndexOfAny(['/', '+', '#']) >= 0)
        {
            node.Fault(member, "must not hold / + or #");
        }

        return text;
    }

    private static ImmutableDictionary<string, ReadingTarget>? Metrics(JsonNode node, (IReadOnlyList<Tank> Tanks, IReadOnlyCollection<string> Pumps) reported)
    {
        if (node.Find("metrics") is not { } list)
        {
            node.Fault("metrics", "is missing");
            return null;
        }

        if (list.Members(1, MaxMetrics) is not { } members)
        {
            return null;
        }

        var targets = ImmutableDictionary.CreateBuilder<string, ReadingTarget>(StringComparer.Ordinal);
        foreach (var (name, value) in members)
        {
            if (value.Text() is not { } text)
            {
                continue;
            }

            if (ReadingTarget.Find(text, id => reported.Tanks.FirstOrDefault(tank => tank.Id.Value == id)) is not { Kind: not null } target || !IsReported(target, reported))
            {
                value.Fault($"'{SiteFileReader.Shown(text)}' must be, of a tank or pump that the unit reports, {ReadingTarget.InWords}");
            }
            else if (targets.ContainsValue(target))
            {
                value.Fault($"'{SiteFileReader.Shown(text)}' is told by another metric already");
            }
            else
            {
                targets.Add(name, target);
            }
        }

        RequireWhole(list, targets.Values, reported.Tanks);
        return targets.ToImmutable();
    }

    private static bool IsReported(ReadingTarget target, (IReadOnlyList<Tank> Tanks, IReadOnlyCollection<string> Pumps) reported) => target.Kind switch
    {
        MessageKind.Level => reported.Tanks.Any(tank => tank.Id.Value == target.Device),
        MessageKind.Pump or MessageKind.Inlet => reported.Pumps.Contains(target.Device),
        _ => true,
    };

    /// <summary>A mapping that could never make a whole message is a mistake to be told now, not in silence for ever.</summary>
    private static void RequireWhole(JsonNode metrics, IEnumerable<ReadingTarget> targets, IReadOnlyList<Tank> tanks)
    {
        foreach (var message in targets.GroupBy(target => (target.Kind, target.Device)))
        {
            var (kind, device) = message.Key;
            var lacks = kind switch
            {
                MessageKind.Level when message.All(target => target.Member == "") && message.Count() < tanks.First(tank => tank.Id.Value == device).Probes.Length =>
                    $"{device}: a metric for each of its probes, or one for all of them, is missing",
                MessageKind.Pump when message.All(target => target.Member != ReadingTarget.Running) => $"{device}/{ReadingTarget.Running}: is missing",
                MessageKind.Supply when message.All(target => target.Member != "mains") => "mains: is missing",
                _ => null,
            };
            if (lacks is not null)
            {
                metrics.Fault(lacks);
            }
        }
    }
}
