using System.Text;
using TankWatch.Service.Pages.Units;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed class RawTextTests
{
    [Theory]
    [InlineData("plain é 🚰 தமிழ்", "plain é 🚰 தமிழ்")]
    [InlineData("a\nb\r\tc\0d\u001b[31m\u007f", "a[\\n]\nb[\\r][\\t]c[U+0000]d[U+001B][31m[U+007F]")]
    [InlineData("\u202Etxet\u2066\u200f\u0085\u2028\ufeff", "[U+202E]txet[U+2066][U+200F][U+0085][U+2028][U+FEFF]")]
    public void What_cannot_be_seen_is_named(string text, string shown) => Assert.Equal(shown, Shown(Encoding.UTF8.GetBytes(text)));

    [Fact]
    public void Bytes_that_are_no_text_are_named_one_by_one() =>
        Assert.Equal("a[\\xFF][\\xC0][\\x80]b[\\xE2][\\x82]", Shown([(byte)'a', 0xFF, 0xC0, 0x80, (byte)'b', 0xE2, 0x82]));

    [Fact]
    public void A_cut_goes_between_letters_and_takes_all_that_fits()
    {
        Assert.Equal("abé", Shown("abé"u8.ToArray(), 4));
        Assert.Equal("ab", Shown("abé"u8.ToArray(), 3));
        Assert.Equal("", Shown([], 3));
    }

    private static string Shown(byte[] bytes, int shown = 4096) =>
        string.Concat(RawText.Of(bytes, shown).Select(part => part.IsMark ? $"[{part.Text}]" : part.Text));
}
