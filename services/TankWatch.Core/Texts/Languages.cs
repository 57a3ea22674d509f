using System.Collections.Immutable;
using System.Globalization;
using System.Text.Json;

namespace TankWatch.Core.Texts;

/// <summary>The languages that there are texts in.</summary>
public static class Languages
{
    public static readonly Language English = Load("en", "English", "English", EnglishCulture(), Plurals.OneAndOther, null);

    /// <remarks>
    /// Arabic with the digits 0 to 9, as everywhere in .NET, and as on meters, on the units' displays and in the ids that people compare with; of
    /// the Arabic cultures the one of the Emirates has the separators that go with them. Month names are those of Egypt and the Gulf.
    /// </remarks>
    public static readonly ImmutableArray<Language> All =
    [
        English,
        Load("hi", "Hindi", "हिन्दी", CultureInfo.GetCultureInfo("hi"), Plurals.UpToOne, English),
        Load("ta", "Tamil", "தமிழ்", CultureInfo.GetCultureInfo("ta"), Plurals.OneAndOther, English),
        Load("ar", "Arabic", "العربية", CultureInfo.GetCultureInfo("ar-AE"), Plurals.Arabic, English),
        Load("pt", "Portuguese", "Português", CultureInfo.GetCultureInfo("pt"), Plurals.BelowTwo, English),
    ];

    /// <summary>
    /// A made-up language for tests and for whoever looks for words that stand in the code: it is in no list, and is had by asking for <c>qps</c>, the tag
    /// that Unicode keeps for such ones.
    /// </summary>
    public static readonly Language Pseudo = PseudoTexts.Make(ResourcesOf("en"));

    /// <summary>The language that a site file or a browser asks for; English when it is none of these.</summary>
    /// <param name="tag">BCP 47, in any case; what follows the language (<c>pt-BR</c>) is passed over.</param>
    public static Language Of(string? tag)
    {
        foreach (var language in All)
        {
            if (IsOf(language, tag))
            {
                return language;
            }
        }

        return IsOf(Pseudo, tag) ? Pseudo : English;
    }

    /// <summary>The texts as they stand in the resources, by key: those of findings and mails, and of each area of the pages.</summary>
    /// <exception cref="ArgumentException">Two files have the same key.</exception>
    public static IReadOnlyDictionary<string, string> ResourcesOf(string tag)
    {
        var (assembly, texts) = (typeof(Languages).Assembly, new Dictionary<string, string>(StringComparer.Ordinal));
        foreach (var name in assembly.GetManifestResourceNames().Where(name => name.StartsWith("texts/", StringComparison.Ordinal) && name.EndsWith($"/{tag}.json", StringComparison.Ordinal)))
        {
            using var resource = assembly.GetManifestResourceStream(name)!;
            foreach (var (key, text) in JsonSerializer.Deserialize<Dictionary<string, string>>(resource)!)
            {
                texts.Add(key, text);
            }
        }

        return texts;
    }

    private static bool IsOf(Language language, string? tag) =>
        tag is not null && tag.StartsWith(language.Tag, StringComparison.OrdinalIgnoreCase) && (tag.Length == language.Tag.Length || tag[language.Tag.Length] is '-' or '_');

    private static Language Load(string tag, string englishName, string ownName, CultureInfo culture, Plurals plurals, Language? fallback) =>
        new(tag, englishName, ownName, culture, plurals, ResourcesOf(tag), fallback);

    /// <summary>The invariant one, since published results are in English and must not change with a machine's tables; thousands set apart by a thin space.</summary>
    private static CultureInfo EnglishCulture()
    {
        var culture = (CultureInfo)CultureInfo.InvariantCulture.Clone();
        culture.NumberFormat.NumberGroupSeparator = "\u202f";
        return CultureInfo.ReadOnly(culture);
    }
}
