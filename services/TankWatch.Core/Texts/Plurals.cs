using System.Collections.Immutable;

namespace TankWatch.Core.Texts;

/// <summary>The categories of CLDR, in its order.</summary>
public enum PluralCategory { Zero, One, Two, Few, Many, Other }

/// <summary>Which of a language's plural forms a number takes.</summary>
/// <remarks>
/// Unicode CLDR 47, Language Plural Rules, cardinal (unicode.org/cldr/charts/47/supplemental/language_plural_rules.html), from memory. Portuguese has
/// <c>many</c> there too, for whole millions ("um milhão de litros"): nothing that is counted here comes near, so its texts are spared it.
/// </remarks>
public sealed class Plurals
{
    private readonly Func<double, PluralCategory> choose;

    private Plurals(Func<double, PluralCategory> choose, params ImmutableArray<PluralCategory> used)
    {
        this.choose = choose;
        Used = used;
    }

    /// <summary>What a text with a plural has to have a form for.</summary>
    public ImmutableArray<PluralCategory> Used { get; }

    /// <param name="number">As it is shown: 1.04 that is written "1" is 1.</param>
    public PluralCategory Of(double number) => choose(Math.Abs(number));

    /// <summary>English and Tamil: one thing, or more, less or a part of it.</summary>
    public static readonly Plurals OneAndOther = new(n => n == 1 ? PluralCategory.One : PluralCategory.Other, PluralCategory.One, PluralCategory.Other);

    /// <summary>Hindi: nothing and parts of one go with one.</summary>
    public static readonly Plurals UpToOne = new(n => n <= 1 ? PluralCategory.One : PluralCategory.Other, PluralCategory.One, PluralCategory.Other);

    /// <summary>Portuguese: all below two go with one.</summary>
    public static readonly Plurals BelowTwo = new(n => n < 2 ? PluralCategory.One : PluralCategory.Other, PluralCategory.One, PluralCategory.Other);

    public static readonly Plurals Arabic = new(
        n => n switch
        {
            0 => PluralCategory.Zero,
            1 => PluralCategory.One,
            2 => PluralCategory.Two,
            _ => (n % 100) switch
            {
                3 or 4 or 5 or 6 or 7 or 8 or 9 or 10 => PluralCategory.Few,
                >= 11 and var rest when rest == Math.Floor(rest) => PluralCategory.Many,
                _ => PluralCategory.Other,
            },
        },
        PluralCategory.Zero, PluralCategory.One, PluralCategory.Two, PluralCategory.Few, PluralCategory.Many, PluralCategory.Other);
}
