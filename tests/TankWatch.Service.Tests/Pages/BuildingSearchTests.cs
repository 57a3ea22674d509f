using TankWatch.Service.Pages.Estate;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed class BuildingSearchTests
{
    [Theory]
    [InlineData("Águas de São João", "aguas sao")]
    [InlineData("Aguas de Sao Joao", "ÁGUAS SÃO")]
    [InlineData("A\u0301guas", "águas")] // The accent as a letter of its own.
    [InlineData("Łódź Straße", "lodz strasse")]
    [InlineData("Ørsted", "orsted")]
    [InlineData("İzmir", "izmir")]
    [InlineData("ΟΔΟΣ ΕΡΜΟΥ", "οδός")]
    [InlineData("عمارة النُّور", "عماره النور")] // Vowel marks, and the two ways to end the word.
    [InlineData("أبراج", "ابراج")]
    [InlineData("शांति निवास", "शांति")]
    [InlineData("梅田ビル", "梅田")]
    [InlineData("Ｔｏｗｅｒ", "tower")] // Full width.
    [InlineData("Tern\u200bho\u00aduse", "ternhouse")] // Marks that nobody sees.
    [InlineData("<script>alert(1)</script>", "<script>")]
    [InlineData("\u202eesuoh", "esuoh")]
    public void A_name_is_found_however_it_is_typed(string name, string typed) => Assert.True(Finds(name, typed));

    [Theory]
    [InlineData("शांति", "शांत")] // Found: it is the beginning of it.
    [InlineData("Alder Row", "row alder")]
    [InlineData("Alder Row", "  \t ")]
    [InlineData("Alder Row", "fu-0017")]
    [InlineData("Alder Row", "ROOF")]
    [InlineData("Alder Row", "p1 alder house-7")]
    [InlineData("Alder Row", "harbour")]
    public void Every_word_may_stand_anywhere_in_name_area_or_ids(string name, string typed) => Assert.True(Finds(name, typed));

    [Theory]
    [InlineData("Alder Row", "alder street")]
    [InlineData("कि", "कु")] // Another vowel makes another word.
    [InlineData("Alder Row", "%")]
    [InlineData("Alder Row", ".*")]
    [InlineData("Alder Row", "\0")]
    [InlineData("Alder Row", "\ufffd")]
    public void What_stands_nowhere_is_not_found(string name, string typed) => Assert.False(Finds(name, typed));

    [Fact]
    public void Half_a_character_harms_nothing() => Assert.False(Finds("Alder Row", "\ud800x"));

    private static bool Finds(string name, string typed) => new BuildingSearch(typed).Finds(
        SampleSite.Plan(SampleSite.Json("house-7", "fu-0017")) with { Name = name, Area = "harbour-side" });
}
