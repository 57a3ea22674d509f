using System.Text;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Tests.Texts;

/// <summary>
/// A made-up language: every word of the English texts stands between marks, and moments are figures alone. What is said in it and stands outside the marks
/// comes from no resource: it is data, or it was written into the code.
/// </summary>
internal static class PseudoLanguage
{
    public static Language Made => Languages.Pseudo;

    /// <summary>Words outside the marks that are none of the data.</summary>
    /// <param name="said">In the made-up language.</param>
    /// <param name="data">Names and ids that may stand anywhere.</param>
    public static string Strangers(string said, IEnumerable<string> data)
    {
        var outside = new StringBuilder();
        var depth = 0;
        foreach (var c in said)
        {
            depth += c switch { PseudoTexts.Begin => 1, PseudoTexts.End => -1, _ => 0 };
            outside.Append(depth == 0 && c != PseudoTexts.End ? c : ' ');
        }

        var rest = data.OrderByDescending(name => name.Length).Aggregate(outside.ToString(), (text, name) => text.Replace(name, "", StringComparison.Ordinal));
        return string.Concat(rest.Where(char.IsLetter));
    }
}
