using System.Collections.Immutable;
using System.Text.Json;
using TankWatch.Core.Areas;
using TankWatch.Core.Findings;

namespace TankWatch.Service.Sites;

/// <summary>How what is known of areas stands in the store. The findings themselves stand in the alerts.</summary>
internal static class AreaJson
{
    private static readonly JsonSerializerOptions Options = new(JsonSerializerDefaults.Web);

    public static string Write(AreaState state) => JsonSerializer.Serialize(
        new Stored(
            state.Open.ToDictionary(pair => pair.Key, pair => new StoredOutage([.. pair.Value.Sites], pair.Value.BackSince)),
            state.Learnt.Outages.ToDictionary(), [.. state.Learnt.Together.Select(pair => new StoredPair(pair.Key.First, pair.Key.Second, pair.Value))], [.. state.Counted]), Options);

    /// <param name="json">Null before anything was stored.</param>
    /// <param name="open">The findings that are open.</param>
    public static AreaState Read(string? json, IEnumerable<Finding> open)
    {
        var stored = json is null ? null : JsonSerializer.Deserialize<Stored>(json, Options);
        if (stored is null)
        {
            return AreaState.Start;
        }

        var outages = open.Where(finding => stored.Open.ContainsKey(finding.Device.Value)).Select(finding => KeyValuePair.Create(
            finding.Device.Value,
            new AreaOutage(finding, stored.Open[finding.Device.Value].Sites.ToImmutableSortedSet(StringComparer.Ordinal), stored.Open[finding.Device.Value].BackSince)));
        return new(
            AreaState.Start.Open.AddRange(outages),
            new(CoOccurrence.None.Outages.AddRange(stored.Outages), CoOccurrence.None.Together.AddRange(stored.Together.Select(pair => KeyValuePair.Create((pair.A, pair.B), pair.N)))),
            stored.Counted.ToImmutableSortedSet(StringComparer.Ordinal));
    }

    private sealed record Stored(Dictionary<string, StoredOutage> Open, Dictionary<string, int> Outages, List<StoredPair> Together, List<string> Counted);

    private sealed record StoredOutage(List<string> Sites, DateTimeOffset? BackSince);

    private sealed record StoredPair(string A, string B, int N);
}
