using System.Text;
using TankWatch.Service.Commands;
using Xunit;

namespace TankWatch.Service.Tests.Commands;

public sealed class InputFilesTests
{
    [Theory]
    [InlineData("", "")]
    [InlineData("\uFEFF", "")]
    [InlineData("\uFEFFa\r\nb", "a|b")]
    [InlineData("a\n\n\uFEFFb\n", "a||\uFEFFb")]
    public void Lines_are_without_their_ends_and_the_first_without_its_byte_order_mark(string text, string lines) =>
        Assert.Equal(lines, string.Join('|', LinesOf(Encoding.UTF8.GetBytes(text), 7)));

    [Theory]
    [InlineData(1)]
    [InlineData(4096)]
    [InlineData(1 << 20)]
    public void Lines_longer_than_the_buffer_are_whole_however_they_are_read(int most)
    {
        string[] lines = [new('a', 10), new('b', 70_000), "", new('c', 65_536), new('d', 65_535), new('e', 300_000), "f"];
        Assert.Equal(lines, LinesOf(Encoding.UTF8.GetBytes(string.Join('\n', lines)), most));
    }

    [Fact]
    public void A_line_longer_than_any_message_is_cut_and_the_next_one_is_whole()
    {
        var text = Encoding.UTF8.GetBytes(new string('a', (4 * InputFiles.MaxLineLength) + 17) + "\nb");
        var lines = LinesOf(text, 100_000);
        Assert.Equal([InputFiles.MaxLineLength, 1], lines.Select(l => l.Length));
        Assert.Equal("b", lines[1]);
    }

    private static List<string> LinesOf(byte[] bytes, int most)
    {
        using var stream = new Trickle(bytes, most);
        return [.. InputFiles.Lines(stream).Select(line => Encoding.UTF8.GetString(line.Span))];
    }

    /// <summary>Gives at most so many bytes at once, as a pipe does.</summary>
    private sealed class Trickle(byte[] bytes, int most) : MemoryStream(bytes)
    {
        public override int Read(byte[] buffer, int offset, int count) => base.Read(buffer, offset, Math.Min(count, most));
    }
}
