using TankWatch.Core.Texts;
using Xunit;

namespace TankWatch.Core.Tests.Texts;

public sealed class PhraseTests
{
    private static readonly TimeZoneInfo Kolkata = TimeZoneInfo.FindSystemTimeZoneById("Asia/Kolkata");

    private static Language Made(string tag, params (string Key, string Text)[] texts)
    {
        var model = Languages.Of(tag);
        var all = Languages.ResourcesOf(tag).Concat(texts.Select(text => KeyValuePair.Create(text.Key, text.Text))).ToDictionary();
        return new(tag, model.EnglishName, model.OwnName, model.Culture, model.Plurals, all, null);
    }

    private static string Say(string tag, string text, params (string, PhraseValue)[] arguments) => Made(tag, ("made", text)).Say(Phrase.Of("made", arguments));

    [Fact]
    public void Phrases_that_say_the_same_are_equal_however_they_came_about()
    {
        Phrase One() => Phrase.Of("a", ("n", 1.26), ("names", PhraseList.Of(ListStyle.And, ["x", "y"])), ("at", PhraseMoment.In(Kolkata, Scenario.Midnight)), ("by", new TimeOnly(5, 30)));
        Assert.Equal(One(), One());
        Assert.Equal(One().GetHashCode(), One().GetHashCode());
        Assert.NotEqual(One(), One() with { Key = "b" });
        Assert.NotEqual(Phrase.Of("a", ("names", PhraseList.Of(ListStyle.And, ["x", "y"]))), Phrase.Of("a", ("names", PhraseList.Of(ListStyle.Or, ["x", "y"]))));
        Assert.NotEqual(Phrase.Of("a", ("n", 1)), Phrase.Of("a", ("n", 1.1)));
    }

    [Fact]
    public void Figures_and_moments_that_read_alike_are_equal()
    {
        Assert.Equal(Phrase.Of("a", ("n", 61.31)), Phrase.Of("a", ("n", 61.29)));
        Assert.Equal(Phrase.Of("a", ("at", PhraseMoment.In(Kolkata, Scenario.Midnight))), Phrase.Of("a", ("at", PhraseMoment.In(Kolkata, Scenario.Midnight.AddSeconds(59.9)))));
        Assert.Equal("0", Say("en", "{n}", ("n", -0.04)));
    }

    /// <remarks>CLDR's charts as .NET has them through ICU; Arabic with the digits 0 to 9 and what separates those.</remarks>
    [Theory]
    [InlineData("en", "1\u202f234\u202f567.8")]
    [InlineData("hi", "12,34,567.8")]
    [InlineData("ta", "12,34,567.8")]
    [InlineData("ar", "1,234,567.8")]
    [InlineData("pt", "1.234.567,8")]
    public void A_large_figure_is_written_as_the_language_writes_it(string tag, string written) => Assert.Equal(written, Say(tag, "{n:n}", ("n", 1234567.8)));

    [Theory]
    [InlineData("en", "1 Sep 23:05", "Tuesday 1 September 2026, 23:05")]
    [InlineData("hi", "1 सितंबर 23:05", "मंगलवार, 1 सितंबर 2026, 23:05")]
    [InlineData("ta", "1 செப்டம்பர் 23:05", "செவ்வாய், 1 செப்டம்பர் 2026, 23:05")]
    [InlineData("ar", "1 سبتمبر 23:05", "الثلاثاء 1 سبتمبر 2026، 23:05")]
    [InlineData("pt", "1 de setembro, 23:05", "terça-feira, 1 de setembro de 2026, 23:05")]
    public void A_moment_is_read_on_the_clock_of_the_site_in_the_words_of_the_language(string tag, string brief, string full)
    {
        var at = new DateTimeOffset(2026, 9, 1, 17, 35, 20, TimeSpan.Zero);
        Assert.Equal((brief, full), (Say(tag, "{at}", ("at", PhraseMoment.In(Kolkata, at))), Say(tag, "{at:full}", ("at", PhraseMoment.In(Kolkata, at)))));
    }

    /// <remarks>[M] the examples of CLDR 47, Language Plural Rules, cardinal.</remarks>
    [Theory]
    [InlineData("en", "one", 1.0)]
    [InlineData("en", "other", 0.0, 2.0, 16.0, 100.0, 0.1, 1.5)]
    [InlineData("hi", "one", 0.0, 1.0, 0.5)]
    [InlineData("hi", "other", 2.0, 17.0, 100.0, 1.1, 2.6)]
    [InlineData("ta", "one", 1.0)]
    [InlineData("ta", "other", 0.0, 2.0, 16.0, 100.0, 0.9, 1.1)]
    [InlineData("ar", "zero", 0.0)]
    [InlineData("ar", "one", 1.0)]
    [InlineData("ar", "two", 2.0)]
    [InlineData("ar", "few", 3.0, 10.0, 103.0, 110.0, 1003.0)]
    [InlineData("ar", "many", 11.0, 26.0, 99.0, 111.0, 1011.0)]
    [InlineData("ar", "other", 100.0, 102.0, 200.0, 202.0, 1000.0, 0.1, 3.1, 10.1, 11.5)]
    [InlineData("pt", "one", 0.0, 1.0, 0.5, 1.5)]
    [InlineData("pt", "other", 2.0, 17.0, 100.0, 2.5)]
    public void A_count_takes_the_form_that_cldr_gives_it(string tag, string category, params double[] counts) => Assert.All(
        counts, count => Assert.Equal($"{count} {category}", $"{count} {Languages.Of(tag).Plurals.Of(count).ToString().ToLowerInvariant()}"));

    [Fact]
    public void The_figure_as_it_is_written_decides_on_the_plural() => Assert.Equal(
        "1 start, 1.1 starts", Say("en", "{a} {a|one:start|other:starts}, {b} {b|one:start|other:starts}", ("a", 1.04), ("b", 1.06)));

    [Fact]
    public void A_list_is_joined_as_its_style_says() => Assert.Equal(
        "x and y and z; 1 start, or 2 starts", Say(
            "en", "{a}; {b}", ("a", PhraseList.Of(ListStyle.And, ["x", "y", "z"])),
            ("b", PhraseList.Of(ListStyle.Or, [Phrase.Literal("1 start"), Phrase.Literal("2 starts")]))));

    [Fact]
    public void A_name_is_set_apart_where_the_line_runs_from_right_to_left_and_nowhere_else()
    {
        Assert.Equal("\u2068p1 (east)\u2069", Say("ar", "{pump}", ("pump", "p1 (east)")));
        Assert.Equal("p1 (east)", Say("hi", "{pump}", ("pump", "p1 (east)")));
    }

    [Fact]
    public void What_a_language_has_no_text_for_is_said_in_english_and_what_none_has_by_its_key()
    {
        var hindi = Languages.Of("hi");
        var poor = new Language("hi", hindi.EnglishName, hindi.OwnName, hindi.Culture, hindi.Plurals, new Dictionary<string, string>(), Languages.English);
        Assert.Equal("The sump", poor.Say("water.name.the-sump.first"));
        Assert.Equal("of.a.newer.version", Languages.English.Say("of.a.newer.version"));
    }

    [Fact]
    public void A_gap_that_nothing_fills_is_seen() => Assert.Equal("Pump {pump}, {n} {n}", Say("en", "Pump {pump}, {n} {n|one:start|other:starts}"));

    [Theory]
    [InlineData("hi", "hi")]
    [InlineData("pt-BR", "pt")]
    [InlineData("TA", "ta")]
    [InlineData("tag", "en")]
    [InlineData("xx", "en")]
    [InlineData("", "en")]
    [InlineData(null, "en")]
    public void A_language_is_found_by_its_tag_and_english_speaks_for_the_others(string? tag, string found) => Assert.Equal(found, Languages.Of(tag).Tag);

    [Fact]
    public void Only_arabic_runs_from_right_to_left() => Assert.Equal(["ar"], Languages.All.Where(language => language.Direction == "rtl").Select(language => language.Tag));

    [Theory]
    [InlineData("{open")]
    [InlineData("{n|one:{n} start")]
    [InlineData("{n|single:start|other:starts}")]
    public void A_text_that_is_no_text_is_refused(string text) => Assert.Throws<FormatException>(() => Template.Parse(text));
}
