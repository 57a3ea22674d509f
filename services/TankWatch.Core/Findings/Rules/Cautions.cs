using System.Collections.Immutable;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Findings.Rules;

/// <summary>
/// What can hurt someone who goes to look. Every text defers to local codes and licensed people, and none asks anyone to run a pump
/// dry, bypass a protection, open a starter, or lean into or enter a tank or sump.
/// </summary>
internal static class Cautions
{
    public static readonly Phrase Electric = Phrase.Of("caution.electric");
    public static readonly Phrase Sump = Phrase.Of("caution.sump");
    public static readonly Phrase Height = Phrase.Of("caution.height");
    public static readonly Phrase Water = Phrase.Of("caution.water");
    public static readonly Phrase Overload = Phrase.Of("caution.overload");
    public static readonly Phrase NotProtection = Phrase.Of("caution.not-protection");

    public static readonly ImmutableArray<Phrase> Pump = [Electric, NotProtection];
    public static readonly ImmutableArray<Phrase> Tank = [Height, Sump, Water];
    public static readonly ImmutableArray<Phrase> PumpAndTank = [Electric, Height, Sump];
    public static readonly ImmutableArray<Phrase> PumpAndSump = [Electric, Sump];
}
