using System.Text;

namespace TankWatch.Core.Texts;

/// <summary>Turns phrases into words.</summary>
public static class Phrasebook
{
    // Unicode's first strong isolate and its end: an id in Latin letters must not turn the order of an Arabic line about.
    private const char Isolate = '\u2068', EndOfIsolate = '\u2069';

    /// <returns>The words; the key itself where no language has a text for it, as for what a newer version stored.</returns>
    public static string Say(Phrase phrase, Language language)
    {
        if (phrase.AsLiteral is { } words)
        {
            return words;
        }

        var output = new StringBuilder();
        Say(output, phrase, language);
        return output.ToString();
    }

    private static void Say(StringBuilder output, Phrase phrase, Language language)
    {
        if (language.Find(phrase.Key) is { } text)
        {
            Say(output, text, phrase, language);
        }
        else
        {
            output.Append(phrase.AsLiteral ?? phrase.Key);
        }
    }

    private static void Say(StringBuilder output, Template text, Phrase phrase, Language language)
    {
        foreach (var part in text.Parts)
        {
            switch (part)
            {
                case LiteralPart literal:
                    output.Append(literal.Text);
                    break;
                case SlotPart slot when Find(phrase, slot.Name) is { } value:
                    Say(output, value, slot.Format, language);
                    break;
                case PluralPart plural when Find(phrase, plural.Name) is PhraseNumber number:
                    Say(output, FormOf(plural, language.Plurals.Of(number.Value)), phrase, language);
                    break;
                default:
                    output.Append('{').Append((part as SlotPart)?.Name ?? (part as PluralPart)?.Name).Append('}'); // Never passed over: a gap that nothing fills is to be seen.
                    break;
            }
        }
    }

    private static void Say(StringBuilder output, PhraseValue value, string? format, Language language)
    {
        switch (value)
        {
            case PhraseName name when language.IsRightToLeft:
                output.Append(Isolate).Append(name.Name).Append(EndOfIsolate);
                break;
            case PhraseName name:
                output.Append(name.Name);
                break;
            case PhraseNumber number:
                output.Append(number.Value.ToString(format switch { "n" => "#,0.#", "fine" => "0.##", _ => "0.#" }, language.Culture));
                break;
            case PhraseMoment moment:
                output.Append(moment.At.ToString(language.Say("format." + (format ?? "moment")), language.Culture));
                break;
            case PhraseClock clock:
                output.Append(TimeOnly.MinValue.AddMinutes(clock.Minute).ToString(language.Say("format.time"), language.Culture));
                break;
            case PhraseList list:
                Say(output, list, format, language);
                break;
            case Phrase nested:
                Say(output, nested, language);
                break;
        }
    }

    private static void Say(StringBuilder output, PhraseList list, string? format, Language language)
    {
        var between = "";
        foreach (var item in list.Items)
        {
            output.Append(between);
            Say(output, item, format, language);
            between = language.Say(Between(list.Style));
        }
    }

    private static string Between(ListStyle style) => style switch
    {
        ListStyle.And => "list.and",
        ListStyle.Or => "list.or",
        ListStyle.Comma => "list.comma",
        ListStyle.Sentences => "list.sentences",
        _ => throw new ArgumentOutOfRangeException(nameof(style)),
    };

    private static PhraseValue? Find(Phrase phrase, string name)
    {
        foreach (var argument in phrase.Arguments)
        {
            if (argument.Name == name)
            {
                return argument.Value;
            }
        }

        return null;
    }

    /// <summary>The form for a category; the last, which is for all others, where a text has none of its own.</summary>
    private static Template FormOf(PluralPart plural, PluralCategory category)
    {
        foreach (var form in plural.Forms)
        {
            if (form.Category == category)
            {
                return form.Text;
            }
        }

        return plural.Forms[^1].Text;
    }
}
