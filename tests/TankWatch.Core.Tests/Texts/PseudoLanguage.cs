using System.Globalization;
using System.Text;
using TankWatch.Core.Texts;

namespace TankWatch.Core.Tests.Texts;

/// <summary>
/// A made-up language: every word of the English texts stands between marks, and moments are figures alone. What is said in it and stands outside the marks
/// comes from no resource: it is data, or it was written into the code.
/// </summary>
internal static class PseudoLanguage
{
    private const char Begin = '⟦', End = '⟧';

    public static Language Made { get; } = new(
        "qps", "Pseudo", "Pseudo", CultureInfo.InvariantCulture, Plurals.OneAndOther,
        Languages.ResourcesOf("en").ToDictionary(text => text.Key, text => text.Key.StartsWith("format.", StringComparison.Ordinal) ? "yyyy-MM-dd HH:mm" : Marked(text.Value)), null);

    /// <summary>Words outside the marks that are none of the data.</summary>
    /// <param name="said">In the made-up language.</param>
    /// <param name="data">Names and ids that may stand anywhere.</param>
    public static string Strangers(string said, IEnumerable<string> data)
    {
        var outside = new StringBuilder();
        var depth = 0;
        foreach (var c in said)
        {
            depth += c switch { Begin => 1, End => -1, _ => 0 };
            outside.Append(depth == 0 && c != End ? c : ' ');
        }

        var rest = data.OrderByDescending(name => name.Length).Aggregate(outside.ToString(), (text, name) => text.Replace(name, "", StringComparison.Ordinal));
        return string.Concat(rest.Where(char.IsLetter));
    }

    /// <summary>Marks what stands outside the gaps and within the forms of a plural, and leaves the gaps.</summary>
    private static string Marked(string text) => string.Concat(Template.Parse(text).Parts.Select(part => part switch
    {
        LiteralPart literal => $"{Begin}{literal.Text}{End}",
        SlotPart { Format: null } slot => $"{{{slot.Name}}}",
        SlotPart slot => $"{{{slot.Name}:{slot.Format}}}",
        PluralPart plural => $"{{{plural.Name}|{string.Join('|', plural.Forms.Select(form => $"{form.Category}:{Again(form.Text)}"))}}}",
        _ => throw new InvalidOperationException(part.GetType().Name),
    }));

    private static string Again(Template form) => string.Concat(form.Parts.Select(part => part switch
    {
        LiteralPart literal => $"{Begin}{literal.Text}{End}",
        SlotPart slot => $"{{{slot.Name}}}",
        _ => throw new InvalidOperationException("a plural within a plural"),
    }));
}
