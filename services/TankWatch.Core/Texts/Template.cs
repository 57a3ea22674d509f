using System.Collections.Immutable;

namespace TankWatch.Core.Texts;

/// <summary>A text with gaps: <c>{name}</c>, <c>{name:format}</c>, and <c>{count|one:{count} start|other:{count} starts}</c> with the plural categories of CLDR.</summary>
/// <param name="Parts">In the order of the text.</param>
public sealed record Template(ImmutableArray<TemplatePart> Parts)
{
    /// <exception cref="FormatException">A brace is not closed, or a plural names no category.</exception>
    public static Template Parse(string text)
    {
        var (parts, at) = (ImmutableArray.CreateBuilder<TemplatePart>(), 0);
        while (at < text.Length)
        {
            var open = text.IndexOf('{', at);
            if (open != at)
            {
                parts.Add(new LiteralPart(open < 0 ? text[at..] : text[at..open]));
            }

            if (open < 0)
            {
                break;
            }

            var close = CloseOf(text, open);
            parts.Add(Gap(text[(open + 1)..close]));
            at = close + 1;
        }

        return new(parts.DrainToImmutable());
    }

    private static TemplatePart Gap(string inside)
    {
        var forms = Split(inside);
        if (forms.Count == 1)
        {
            var colon = inside.IndexOf(':', StringComparison.Ordinal);
            return colon < 0 ? new SlotPart(inside, null) : new SlotPart(inside[..colon], inside[(colon + 1)..]);
        }

        return new PluralPart(forms[0], [.. forms.Skip(1).Select(Form)]);
    }

    private static PluralForm Form(string form)
    {
        var colon = form.IndexOf(':', StringComparison.Ordinal);
        return colon > 0 && Enum.TryParse<PluralCategory>(form[..colon], ignoreCase: true, out var category)
            ? new(category, Parse(form[(colon + 1)..])) : throw new FormatException($"'{form}' names no plural category");
    }

    private static int CloseOf(string text, int open)
    {
        var depth = 0;
        for (var i = open; i < text.Length; i++)
        {
            depth += text[i] switch { '{' => 1, '}' => -1, _ => 0 };
            if (depth == 0)
            {
                return i;
            }
        }

        throw new FormatException($"a brace is not closed: '{text}'");
    }

    /// <summary>At the bars that stand within no further brace.</summary>
    private static List<string> Split(string inside)
    {
        var (forms, depth, from) = (new List<string>(), 0, 0);
        for (var i = 0; i < inside.Length; i++)
        {
            depth += inside[i] switch { '{' => 1, '}' => -1, _ => 0 };
            if (inside[i] == '|' && depth == 0)
            {
                forms.Add(inside[from..i]);
                from = i + 1;
            }
        }

        forms.Add(inside[from..]);
        return forms;
    }
}

public abstract record TemplatePart;

public sealed record LiteralPart(string Text) : TemplatePart;

/// <param name="Name">Of the argument that stands here.</param>
/// <param name="Format">Of a number, <c>n</c>: with the thousands set apart, <c>fine</c>: to a hundredth; of a moment, which <c>format.</c> pattern; null: the plain one.</param>
public sealed record SlotPart(string Name, string? Format) : TemplatePart;

/// <param name="Name">Of the number that decides.</param>
/// <param name="Forms">One for each category that the language has.</param>
public sealed record PluralPart(string Name, ImmutableArray<PluralForm> Forms) : TemplatePart;

public sealed record PluralForm(PluralCategory Category, Template Text);
