using System.Globalization;
using System.Text;
using TankWatch.Core.Sites;

namespace TankWatch.Service.Pages.Estate;

/// <summary>Finds buildings by what people call them: every word typed stands somewhere in the name, the area or an id.</summary>
internal sealed class BuildingSearch(string typed)
{
    private readonly string[] words = Folded(typed).Split((char[]?)null, StringSplitOptions.RemoveEmptyEntries);

    public bool Finds(SitePlan plan)
    {
        if (words.Length == 0)
        {
            return true;
        }

        var (name, area) = (Folded(plan.Name), Folded(plan.Area ?? ""));
        foreach (var word in words)
        {
            if (!name.Contains(word, StringComparison.Ordinal) && !area.Contains(word, StringComparison.Ordinal) && !IsInAnId(word, plan))
            {
                return false;
            }
        }

        return true;
    }

    /// <summary>Writing with what differs between two hands taken out: case, accents and vowel marks, width, and marks that nobody sees.</summary>
    /// <remarks>Vowel signs of Indic scripts stay: they are no accents there, but make another word.</remarks>
    public static string Folded(string text)
    {
        if (Ascii.IsValid(text))
        {
            return text.ToUpperInvariant();
        }

        // Rune by rune first: half a surrogate pair, which cannot be normalized, becomes the replacement character.
        var whole = new StringBuilder(text.Length);
        foreach (var rune in text.EnumerateRunes())
        {
            whole.Append(rune);
        }

        var folded = new StringBuilder(text.Length);
        foreach (var c in whole.ToString().Normalize(NormalizationForm.FormKD))
        {
            if (!IsLeftOut(c))
            {
                folded.Append(Plainer(c));
            }
        }

        return folded.ToString().ToUpperInvariant();
    }

    private static bool IsInAnId(string word, SitePlan plan)
    {
        if (Has(plan.Id.Value))
        {
            return true;
        }

        foreach (var unit in plan.Units)
        {
            if (Has(unit.Id.Value))
            {
                return true;
            }
        }

        foreach (var tank in plan.Tanks)
        {
            if (Has(tank.Id.Value))
            {
                return true;
            }
        }

        foreach (var pump in plan.Pumps)
        {
            if (Has(pump.Id.Value))
            {
                return true;
            }
        }

        return false;

        bool Has(string id) => id.Contains(word, StringComparison.OrdinalIgnoreCase); // Ids are ASCII.
    }

    /// <summary>Accents, Hebrew points, Arabic vowels and the stretching of a line, and whatever has no shape of its own.</summary>
    private static bool IsLeftOut(char c) =>
        c is (>= '\u0300' and <= '\u036f') or (>= '\u0591' and <= '\u05c7') or '\u0640' or (>= '\u064b' and <= '\u065f') or '\u0670'
        || char.GetUnicodeCategory(c) is UnicodeCategory.Format;

    /// <summary>Letters that are one with a simpler one to who types in a hurry, and that Unicode does not take apart.</summary>
    private static string Plainer(char c) => c switch
    {
        'ß' => "ss",
        'æ' or 'Æ' => "ae",
        'œ' or 'Œ' => "oe",
        'ø' or 'Ø' => "o",
        'đ' or 'Đ' or 'ð' or 'Ð' => "d",
        'ł' or 'Ł' => "l",
        'þ' or 'Þ' => "th",
        'ı' => "i",
        'ς' => "σ",
        'ى' => "ي",
        'ة' => "ه",
        _ => c.ToString(),
    };
}
