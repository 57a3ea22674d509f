using System.Runtime.CompilerServices;
using System.Text.RegularExpressions;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;
using Xunit;

namespace TankWatch.Core.Tests.Texts;

/// <summary>The texts of all languages against each other, and against the code that names them.</summary>
public sealed partial class ResourceTests
{
    /// <summary>Keys that are put together from a stored name or a state, by the beginning they have in the code.</summary>
    private static readonly string[] Families =
        ["format.", "kind.", "priority.", "cause.", "quantity.", "unit.", "water.below.", "water.full.", "water.up.", "water.down.", "water.holds.", "water.doubt.", "trade.", "alert-state.", "refused.reason."];

    public static TheoryData<string> Tags => [.. Languages.All.Select(language => language.Tag)];

    private static Language Of(string tag) => Languages.All.Single(language => language.Tag == tag);

    [Theory]
    [MemberData(nameof(Tags))]
    public void Every_language_has_every_text(string tag) => Assert.Equal(
        Languages.English.Texts.Keys.Order(StringComparer.Ordinal), Of(tag).Texts.Keys.Order(StringComparer.Ordinal));

    [Theory]
    [MemberData(nameof(Tags))]
    public void A_text_has_the_gaps_of_the_english_one(string tag) => Assert.All(
        Of(tag).Texts, text => Assert.Equal($"{text.Key}: {Gaps(Languages.English.Texts[text.Key])}", $"{text.Key}: {Gaps(text.Value)}"));

    [Theory]
    [MemberData(nameof(Tags))]
    public void A_plural_has_a_form_for_each_category_of_the_language(string tag)
    {
        var plurals = Of(tag).Texts.SelectMany(text => text.Value.Parts.OfType<PluralPart>().Select(part => (text.Key, Forms: part.Forms.Select(form => form.Category)))).ToList();
        Assert.NotEmpty(plurals);
        Assert.All(plurals, plural => Assert.Equal((plural.Key, string.Join(' ', Of(tag).Plurals.Used)), (plural.Key, string.Join(' ', plural.Forms))));
    }

    [Theory]
    [MemberData(nameof(Tags))]
    public void A_text_ends_as_the_english_one_does_and_has_no_double_space(string tag) => Assert.All(Languages.ResourcesOf(tag), text =>
    {
        var english = Languages.ResourcesOf("en")[text.Key];
        Assert.True(EndOf(english) == EndOf(text.Value), $"{text.Key}: {text.Value}");
        Assert.DoesNotContain("  ", text.Value, StringComparison.Ordinal);
    });

    /// <summary>A full stop is as good as a danda.</summary>
    private static string EndOf(string text) => text[^1] switch { '.' or '।' => ".", ':' => ":", _ => "" };

    [Fact]
    public void Every_text_is_named_by_the_code_and_the_code_names_no_other()
    {
        var keys = Languages.English.Texts.Keys.ToHashSet(StringComparer.Ordinal);
        var named = Sources().SelectMany(source => Key().Matches(source).Select(match => match.Groups[1].Value)).ToHashSet(StringComparer.Ordinal);
        var shortOnes = named.Select(key => key + ".short").Where(keys.Contains); // LowSupply puts it at the end.
        Assert.Equal([], keys.Except(named).Except(shortOnes).Where(key => !Families.Any(family => key.StartsWith(family, StringComparison.Ordinal))));

        var beginnings = keys.Select(key => key[..(key.IndexOf('.', StringComparison.Ordinal) + 1)]).Where(begin => begin.Length > 1).ToHashSet(StringComparer.Ordinal);
        Assert.Equal([], Sources().SelectMany(source => Said().Matches(source).Select(match => match.Groups[1].Value)).Where(key => !keys.Contains(key)));
        Assert.Equal([], named.Where(key => beginnings.Contains(key[..(key.IndexOf('.', StringComparison.Ordinal) + 1)]) && !keys.Contains(key)));
    }

    [Fact]
    public void Every_kind_and_priority_has_its_words()
    {
        Assert.All(Enum.GetValues<FindingKind>(), kind => Assert.NotNull(Languages.English.Find(Terms.Name(kind).Key)));
        Assert.All(Enum.GetValues<FindingKind>(), kind => Assert.NotNull(Languages.English.Find(Terms.Clause(kind).Key)));
        Assert.All(Enum.GetValues<Priority>(), priority => Assert.NotNull(Languages.English.Find(Terms.Of(priority).Key)));
    }

    [Fact]
    public void Every_text_that_is_no_english_is_in_the_script_of_its_language()
    {
        foreach (var (tag, first, last) in new[] { ("hi", '\u0900', '\u097F'), ("ta", '\u0B80', '\u0BFF'), ("ar", '\u0600', '\u06FF') })
        {
            var strange = Languages.ResourcesOf(tag).Where(text => !text.Key.StartsWith("format.", StringComparison.Ordinal))
                .Where(text => Latin().IsMatch(Gap().Replace(text.Value, "")) || (text.Value.Any(char.IsLetter) && Gap().Replace(text.Value, "").Any(char.IsLetter) && !text.Value.Any(c => c >= first && c <= last)));
            Assert.Equal([], strange.Select(text => $"{tag} {text.Key}: {text.Value}"));
        }
    }

    private static string Gaps(Template text) => string.Join(' ', Names(text).Distinct().Order(StringComparer.Ordinal));

    private static IEnumerable<string> Names(Template text) => text.Parts.SelectMany(part => part switch
    {
        SlotPart slot => [slot.Name],
        PluralPart plural => plural.Forms.SelectMany(form => Names(form.Text)).Prepend(plural.Name),
        _ => Enumerable.Empty<string>(),
    });

    private static IEnumerable<string> Sources([CallerFilePath] string here = "") =>
        Directory.EnumerateFiles(Path.Combine(Path.GetDirectoryName(here)!, "../../../services"), "*.*", SearchOption.AllDirectories)
            .Where(file => Path.GetExtension(file) is ".cs" or ".razor" && !file.Contains("/obj/", StringComparison.Ordinal)).Select(File.ReadAllText);

    [GeneratedRegex("\"([a-z][a-z-]*(?:\\.[a-z-]+)*)\"")]
    private static partial Regex Key();

    [GeneratedRegex("(?:Phrase\\.Of|(?:anguage|English|Words)\\.Say|Said\\.(?:Of|Link))\\(\\s*\"([a-z.-]*[a-z])\"")]
    private static partial Regex Said();

    // "TankWatch" is a name; units of the trade are written as on the plates, and V, W and the like are no words.
    [GeneratedRegex("(?!TankWatch)\\b[A-Za-z]{2,}")]
    private static partial Regex Latin();

    [GeneratedRegex("\\{[a-z]+(:[a-z-]+)?\\}|\\{[a-z]+\\||\\|?(zero|one|two|few|many|other):")]
    private static partial Regex Gap();
}
