using TankWatch.Core.Findings;

namespace TankWatch.Core.Texts;

/// <summary>Phrases for the stored names, which are for machines. A name that no language knows, as of a newer version, is said as it is.</summary>
public static class Terms
{
    /// <summary>As a heading or a choice: "Leak".</summary>
    public static Phrase Name(FindingKind kind) => Phrase.Of($"kind.{FindingNames.Of(kind)}.name");

    /// <summary>Of a building, to go on after its name and a colon: "it loses water at all hours".</summary>
    public static Phrase Clause(FindingKind kind) => Phrase.Of($"kind.{FindingNames.Of(kind)}.clause");

    /// <summary>"high".</summary>
    public static Phrase Of(Priority priority) => Phrase.Of($"priority.{FindingNames.Of(priority)}");

    /// <param name="cause">The name of a <see cref="WeighedCause"/>.</param>
    /// <returns>"a steady leak".</returns>
    public static Phrase Cause(string cause) => Known($"cause.{cause}", cause.Replace('-', ' '));

    /// <param name="quantity">The name of a <see cref="Quantity"/>.</param>
    public static Phrase Quantity(string quantity) => Known($"quantity.{quantity}", quantity.Replace('-', ' '));

    /// <param name="unit">Of a <see cref="Quantity"/>: "L/h".</param>
    public static Phrase Unit(string unit) => Known($"unit.{unit}", unit);

    private static Phrase Known(string key, string words) => Languages.English.Find(key) is null ? Phrase.Literal(words) : Phrase.Of(key);
}
