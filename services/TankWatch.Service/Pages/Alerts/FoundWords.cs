using TankWatch.Core.Findings;

namespace TankWatch.Service.Pages.Alerts;

/// <summary>Something that may have been found on site.</summary>
/// <param name="Name">A name of <see cref="FoundCauses"/>.</param>
/// <param name="Words">The same in plain words.</param>
public sealed record FoundChoice(string Name, string Words);

/// <summary>What was found on site, in the plain words of the trade.</summary>
internal static class FoundWords
{
    /// <param name="causeFound">A name that counts, or what somebody wrote.</param>
    public static string Of(string causeFound) => FindingNames.TryParse(causeFound, out var kind) ? KindWords.Name(kind) : causeFound switch
    {
        FoundCauses.NothingWrong => Words.Say("found.nothing-wrong"),
        "probes-too-close" => Words.Say("found.probes-too-close"),
        "chattering-probe" => Words.Say("found.chattering-probe"),
        "stuck-probe" => Words.Say("found.stuck-probe"),
        "lost-common" => Words.Say("found.lost-common"),
        "impossible-order" => Words.Say("found.impossible-order"),
        "supply" => Words.Say("found.supply"),
        "low-voltage" => Words.Say("found.low-voltage"),
        "growing-leak" => Words.Say("found.growing-leak"),
        "new-habit" => Words.Say("found.new-habit"),
        _ => causeFound,
    };

    /// <summary>What makes an alert of this kind right: the kind itself first.</summary>
    public static IReadOnlyList<FoundChoice> Right(FindingKind kind) => [ChoiceOf(FindingNames.Of(kind)), .. FoundCauses.Explaining(kind).Select(ChoiceOf)];

    /// <summary>What makes it wrong, besides nothing.</summary>
    public static IReadOnlyList<FoundChoice> Else(FindingKind kind) =>
        [.. FoundCauses.All.Where(name => name != FoundCauses.NothingWrong && FoundCauses.Judge(kind, name) == FindingOutcome.Wrong).Select(ChoiceOf)];

    private static FoundChoice ChoiceOf(string name) => new(name, Of(name));
}
