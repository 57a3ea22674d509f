using System.Globalization;

namespace TankWatch.Core.Texts;

/// <summary>
/// Makes a language of which every word stands between marks, and moments are figures alone. What is said in it and stands outside the marks comes from no
/// resource: it is data, or it was written into the code.
/// </summary>
public static class PseudoTexts
{
    public const char Begin = '⟦', End = '⟧';

    internal static Language Make(IReadOnlyDictionary<string, string> english) => new(
        "qps", "Pseudo", "Pseudo", CultureInfo.InvariantCulture, Plurals.OneAndOther,
        english.ToDictionary(text => text.Key, text => text.Key == "format.time" ? "HH:mm" : text.Key.StartsWith("format.", StringComparison.Ordinal) ? "yyyy-MM-dd HH:mm" : Marked(Template.Parse(text.Value))), null);

    /// <summary>Marks what stands outside the gaps and within the forms of a plural, and leaves the gaps.</summary>
    private static string Marked(Template text) => string.Concat(text.Parts.Select(part => part switch
    {
        LiteralPart literal => $"{Begin}{literal.Text}{End}",
        SlotPart { Format: null } slot => $"{{{slot.Name}}}",
        SlotPart slot => $"{{{slot.Name}:{slot.Format}}}",
        PluralPart plural => $"{{{plural.Name}|{string.Join('|', plural.Forms.Select(form => $"{form.Category}:{Marked(form.Text)}"))}}}",
        _ => throw new InvalidOperationException(part.GetType().Name),
    }));
}
