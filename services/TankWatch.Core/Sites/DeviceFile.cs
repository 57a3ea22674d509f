using System.Collections.Immutable;
using TankWatch.Core.Sparkplug;

namespace TankWatch.Core.Sites;

/// <summary>The devices of a site file: tanks, pumps and units, and how they refer to one another.</summary>
internal static class DeviceFile
{
    private const double AssumedStartsPerHour = 6; // Common practice, no source.
    private const double AssumedMinRunSeconds = 90; // Common practice, no source.
    private const int MaxProbes = 8;

    /// <param name="Id">Null when it has a fault itself.</param>
    /// <param name="At">Where it stands.</param>
    /// <param name="Item">Null when any of its members has a fault.</param>
    public readonly record struct Read<T>(string? Id, JsonNode At, T? Item) where T : class;

    public static List<Read<Tank>> Tanks(JsonNode site)
    {
        var tanks = new List<Read<Tank>>();
        foreach (var node in site.Array("tanks", required: true, min: 1, max: 64) ?? [])
        {
            tanks.Add(TankOf(node, tanks.Count));
        }

        return tanks;
    }

    private static Read<Tank> TankOf(JsonNode node, int index)
    {
        if (!node.IsObject(["id", "role", "capacityLitres", "probes", "fireReserveLitres"]))
        {
            return new(null, node, null);
        }

        var id = node.Id("id");
        var role = Role(node);
        var capacity = node.Positive("capacityLitres", required: true);
        var reserve = node.Positive("fireReserveLitres");
        if (reserve >= capacity)
        {
            node.Fault("fireReserveLitres", "must be less than capacityLitres");
        }

        var probes = Probes(node, role ?? TankRole.Sump, capacity);
        return new(id, node, id is null || role is null || capacity is null || probes is null ? null
            : new(new(id), role.Value, new(capacity.Value), [.. probes], new(reserve ?? 0)) { Index = index });
    }

    private static TankRole? Role(JsonNode node)
    {
        var role = node.Text("role", required: true);
        if (role is not (null or "overhead" or "sump"))
        {
            node.Fault("role", $"'{SiteFileReader.Shown(role)}' must be overhead or sump");
        }

        return role switch { "overhead" => TankRole.Overhead, "sump" => TankRole.Sump, _ => null };
    }

    private static List<Probe>? Probes(JsonNode tank, TankRole role, double? capacity)
    {
        // A sump without probes may leave the member out: it is the arrangement in which the sump cannot be reached.
        var nodes = tank.Array("probes", required: role == TankRole.Overhead, min: role == TankRole.Overhead ? 1 : 0, max: MaxProbes);
        if (nodes is null)
        {
            return role == TankRole.Sump ? [] : null;
        }

        var probes = new List<Probe>();
        var names = new HashSet<string>(StringComparer.OrdinalIgnoreCase);
        var below = 0.0;
        foreach (var node in nodes.Where(n => n.IsObject(["name", "volumeLitres"])))
        {
            var name = node.Text("name", required: true);
            var volume = node.Positive("volumeLitres", required: true);
            if (name is not null && !names.Add(name))
            {
                node.Fault("name", "stands twice in this tank");
            }

            if (volume <= below)
            {
                node.Fault("volumeLitres", "must be greater than that of the probe before it: probes run from the lowest to the highest");
            }

            if (volume > capacity)
            {
                node.Fault("volumeLitres", "must not be greater than capacityLitres");
            }

            below = volume ?? below;
            probes.Add(new(name ?? "", new(volume ?? 0)));
        }

        return probes;
    }

    public static List<Read<Pump>> Pumps(JsonNode site, List<Read<Tank>> tanks)
    {
        var pumps = new List<Read<Pump>>();
        foreach (var node in site.Array("pumps", required: true, max: 64) ?? [])
        {
            pumps.Add(PumpOf(node, tanks, pumps.Count));
        }

        return pumps;
    }

    private static Read<Pump> PumpOf(JsonNode node, List<Read<Tank>> tanks, int index)
    {
        if (!node.IsObject([
            "id", "from", "to", "ratedWatts", "ratedLitresPerMinute", "staticLiftMetres", "maxStartsPerHour", "minRunSeconds", "riserLitres",
            "dryRunDetector"]))
        {
            return new(null, node, null);
        }

        var id = node.Id("id");
        var from = node.Find("from") is { } source ? TankIndex(source, tanks, TankRole.Sump) : null;
        var to = Served(node, tanks);
        var starts = node.Positive("maxStartsPerHour");
        var minRun = node.Positive("minRunSeconds");
        var delivery = node.Positive("ratedLitresPerMinute");
        var riser = node.Positive("riserLitres");
        return new(id, node, id is null ? null : new(
            new(id), from, to, node.Positive("ratedWatts"), delivery is { } q ? new(q) : null, node.Positive("staticLiftMetres"),
            starts ?? AssumedStartsPerHour, starts is null, TimeSpan.FromSeconds(Math.Min(minRun ?? AssumedMinRunSeconds, 86_400)), minRun is null,
            riser is { } litres ? new(litres) : null, node.Flag("dryRunDetector")) { Index = index });
    }

    private static ImmutableArray<int> Served(JsonNode pump, List<Read<Tank>> tanks)
    {
        var served = new List<int>();
        foreach (var target in pump.Array("to", required: true, min: 1, max: 64) ?? [])
        {
            if (TankIndex(target, tanks, TankRole.Overhead) is { } tank)
            {
                if (served.Contains(tank))
                {
                    target.Fault("stands twice");
                }

                served.Add(tank);
            }
        }

        return [.. served];
    }

    private static int? TankIndex(JsonNode node, List<Read<Tank>> tanks, TankRole role)
    {
        if (node.Text() is not { } id)
        {
            return null;
        }

        var index = tanks.FindIndex(t => t.Id == id);
        if (index < 0)
        {
            node.Fault($"'{SiteFileReader.Shown(id)}' is no tank of this site");
            return null;
        }

        if (tanks[index].Item is { } tank && tank.Role != role)
        {
            node.Fault($"'{id}' must be {(role == TankRole.Sump ? "a sump" : "an overhead tank")}");
            return null;
        }

        return index;
    }

    public static void RequireUniqueIds(List<Read<Tank>> tanks, List<Read<Pump>> pumps, SiteFileReader file)
    {
        var seen = new HashSet<string>(StringComparer.Ordinal);
        foreach (var (id, at) in tanks.Select(t => (t.Id, t.At)).Concat(pumps.Select(p => (p.Id, p.At))))
        {
            if (id is not null && !seen.Add(id))
            {
                file.Faults.Add(new($"{at.Path}.id", $"'{id}' is taken by another tank or pump of this site"));
            }
        }
    }

    public static ImmutableArray<FieldUnit> Units(JsonNode site, List<Read<Tank>> tanks, List<Read<Pump>> pumps)
    {
        var units = ImmutableArray.CreateBuilder<FieldUnit>();
        var ids = new HashSet<string>(StringComparer.Ordinal);
        var reported = new HashSet<string>(StringComparer.Ordinal);
        var edges = new HashSet<(EdgeNodeId, string)>();
        foreach (var node in site.Array("units", required: true, max: 64) ?? [])
        {
            if (!node.IsObject(["id", "reports", "sparkplug"]))
            {
                continue;
            }

            var id = node.Id("id");
            if (id is not null && !ids.Add(id))
            {
                node.Fault("id", "stands twice");
            }

            var devices = Reports(node, tanks, pumps, reported);
            var known = devices.Tanks.Select(t => tanks[t].Item).OfType<Tank>().ToList();
            units.Add(new(new(id ?? ""), [.. devices.Tanks], [.. devices.Pumps])
            {
                Index = units.Count,

                // What a faulty tank's metrics would mean cannot be told, and its own faults are enough.
                Sparkplug = known.Count < devices.Tanks.Count ? null : SparkplugFile.Read(node, (known, [.. devices.Pumps.Select(p => pumps[p].Id!)]), edges),
            });
        }

        WarnOfUnreported(tanks, pumps, reported, site.File);
        return units.ToImmutable();
    }

    private static (List<int> Tanks, List<int> Pumps) Reports(
        JsonNode unit, List<Read<Tank>> tanks, List<Read<Pump>> pumps, HashSet<string> reported)
    {
        var (reportedTanks, reportedPumps) = (new List<int>(), new List<int>());
        foreach (var node in unit.Array("reports", required: true, min: 1, max: 128) ?? [])
        {
            if (node.Text() is not { } device)
            {
                continue;
            }

            var (tank, pump) = (tanks.FindIndex(t => t.Id == device), pumps.FindIndex(p => p.Id == device));
            if (tank < 0 && pump < 0)
            {
                node.Fault($"'{SiteFileReader.Shown(device)}' is no tank or pump of this site");
            }
            else if (!reported.Add(device))
            {
                // Two voices for one device would contradict each other, and nothing could say which is right.
                node.Fault($"'{device}' is reported already");
            }
            else if (tank >= 0)
            {
                reportedTanks.Add(tank);
            }
            else
            {
                reportedPumps.Add(pump);
            }
        }

        return (reportedTanks, reportedPumps);
    }

    private static void WarnOfUnreported(List<Read<Tank>> tanks, List<Read<Pump>> pumps, HashSet<string> reported, SiteFileReader file)
    {
        var devices = tanks.Where(t => t.Item is not { Probes.IsEmpty: true }).Select(t => (t.Id, t.At))
            .Concat(pumps.Select(p => (p.Id, p.At)));
        foreach (var (id, at) in devices)
        {
            if (id is not null && !reported.Contains(id))
            {
                file.Warnings.Add(new(at.Path, $"no unit reports '{id}': nothing will be known of it"));
            }
        }
    }
}
