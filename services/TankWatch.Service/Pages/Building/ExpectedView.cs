using TankWatch.Core.Commissioning;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Pages.Building;

/// <summary>What an installation should do, from its site file alone: what asks for a look first, the rest for whoever wants it.</summary>
/// <param name="Wrong">The faults, then what is to be looked at.</param>
/// <param name="Cautions">What can hurt someone who sees to the wrong, each once.</param>
/// <param name="Fine">One text a prediction, with the cautions of those that ask for a setting at the end.</param>
public sealed record ExpectedView(IReadOnlyList<ExpectedLine> Wrong, IReadOnlyList<string> Cautions, IReadOnlyList<string> Fine)
{
    internal static ExpectedView Of(SitePlan plan)
    {
        var told = Predictions.Of(plan).ToLookup(prediction => prediction.Outlook == Outlook.Fine);
        var (fine, wrong) = (told[true].ToList(), told[false].OrderByDescending(prediction => prediction.Outlook).ToList());
        return new(
            [.. wrong.Select(p => new ExpectedLine(Words.Say(p.Outlook == Outlook.Fault ? "building.expected.fault" : "building.expected.look"), Words.Say(p.Text)))], CautionsOf(wrong),
            [.. fine.Select(p => Words.Say(p.Text)), .. CautionsOf(fine)]);
    }

    private static List<string> CautionsOf(IEnumerable<Prediction> predictions) => [.. predictions.SelectMany(p => p.Cautions).Distinct().Select(Words.Say)];
}

/// <param name="Word">"A fault.", "To be looked at."</param>
/// <param name="Text">Plain sentences.</param>
public sealed record ExpectedLine(string Word, string Text);
