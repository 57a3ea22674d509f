using TankWatch.Core.Findings;
using TankWatch.Core.Texts;

namespace TankWatch.Service.Pages;

/// <summary>What is wrong, in the plain words of the trade. The stored names (<see cref="FindingNames"/>) are for machines.</summary>
internal static class KindWords
{
    /// <summary>As a heading or a choice: "Leak".</summary>
    public static string Name(FindingKind kind) => Words.Say(Terms.Name(kind));

    /// <summary>Of a building, to go on after its name and a colon: "it loses water at all hours".</summary>
    public static string Clause(FindingKind kind) => Words.Say(Terms.Clause(kind));
}
