using TankWatch.Core.Findings;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Tests;

/// <summary>Findings in English, which most tests read.</summary>
internal static class Spoken
{
    public static SpokenText Said(this Finding finding) => finding.Text.In(Languages.English);
}
