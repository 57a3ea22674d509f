using System.Collections.Frozen;

namespace TankWatch.Core.Findings;

/// <summary>The stored and published names of kinds and priorities: a format, never renamed.</summary>
public static class FindingNames
{
    private static readonly FrozenDictionary<FindingKind, string> Kinds =
        Enum.GetValues<FindingKind>().ToFrozenDictionary(kind => kind, kind => Hyphenated(kind.ToString()));

    private static readonly FrozenDictionary<string, FindingKind> ByName =
        Kinds.ToFrozenDictionary(pair => pair.Value, pair => pair.Key, StringComparer.Ordinal);

    public static IEnumerable<string> AllKinds => Enum.GetValues<FindingKind>().Select(Of);

    public static string Of(FindingKind kind) => Kinds[kind];

    public static string Of(Priority priority) => priority switch
    {
        Priority.Low => "low",
        Priority.Medium => "medium",
        Priority.High => "high",
        Priority.Critical => "critical",
        _ => throw new ArgumentOutOfRangeException(nameof(priority)),
    };

    public static bool TryParse(string name, out FindingKind kind) => ByName.TryGetValue(name, out kind);

    private static string Hyphenated(string pascal) =>
        string.Concat(pascal.Select((c, i) => char.IsUpper(c) ? (i == 0 ? "" : "-") + char.ToLowerInvariant(c) : c.ToString()));
}
