using System.Collections.Frozen;
using System.Globalization;

namespace TankWatch.Core.Texts;

/// <summary>A language that people can be spoken to in.</summary>
/// <param name="tag">BCP 47: <c>en</c>.</param>
/// <param name="englishName">"Hindi".</param>
/// <param name="ownName">As its speakers write it.</param>
/// <param name="culture">Gives numbers, months and weekdays.</param>
/// <param name="plurals">Its plural forms.</param>
/// <param name="texts">By key.</param>
/// <param name="fallback">Says what has no text here; null for English.</param>
public sealed class Language(
    string tag, string englishName, string ownName, CultureInfo culture, Plurals plurals, IReadOnlyDictionary<string, string> texts, Language? fallback)
{
    private readonly FrozenDictionary<string, Template> templates =
        texts.ToFrozenDictionary(text => text.Key, text => Template.Parse(text.Value), StringComparer.Ordinal);

    public string Tag => tag;
    public string EnglishName => englishName;
    public string OwnName => ownName;
    public CultureInfo Culture => culture;
    public Plurals Plurals => plurals;
    public bool IsRightToLeft => culture.TextInfo.IsRightToLeft;

    /// <summary>For HTML: <c>ltr</c> or <c>rtl</c>.</summary>
    public string Direction => IsRightToLeft ? "rtl" : "ltr";

    /// <summary>Its own texts, without those of its fallback.</summary>
    public IReadOnlyDictionary<string, Template> Texts => templates;

    /// <returns>Null when not even the fallback has one.</returns>
    public Template? Find(string key) => templates.TryGetValue(key, out var text) ? text : fallback?.Find(key);

    /// <summary>A phrase in this language.</summary>
    public string Say(Phrase phrase) => Phrasebook.Say(phrase, this);

    /// <summary>A text without gaps in this language.</summary>
    public string Say(string key) => Phrasebook.Say(Phrase.Of(key), this);
}
