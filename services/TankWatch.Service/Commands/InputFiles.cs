using System.Text;

namespace TankWatch.Service.Commands;

/// <summary>Files that a person names on the command line.</summary>
internal static class InputFiles
{
    /// <summary>A longer line cannot be a message (256 KiB at most); it is cut here, in bytes, and refused where it is read.</summary>
    public const int MaxLineLength = 1024 * 1024;

    /// <summary>The ways in which opening, reading or writing a file named by a person fails without being our fault.</summary>
    public static bool IsFileTrouble(Exception e) => e is IOException or UnauthorizedAccessException or ArgumentException or NotSupportedException;

    /// <summary>Why a file cannot be used, in few words and without the system's own text.</summary>
    public static string Why(Exception e) => e switch
    {
        FileNotFoundException or DirectoryNotFoundException => "it does not exist",
        UnauthorizedAccessException => "it is a folder, or access is denied",
        PathTooLongException => "its name is too long",
        ArgumentException or NotSupportedException => "that is not a file name",
        _ => "the system refuses it",
    };

    /// <param name="name">A file, or <c>-</c> for standard input.</param>
    public static Stream OpenRead(string name) => name == "-" ? Console.OpenStandardInput() : File.OpenRead(name);

    /// <summary>At most <paramref name="limit"/> bytes, plus one when there are more, so that a huge file is refused and not loaded.</summary>
    public static async Task<byte[]> ReadAsync(string name, int limit, CancellationToken stop)
    {
        await using var stream = OpenRead(name);
        using var kept = new MemoryStream();
        var buffer = new byte[64 * 1024];
        while (kept.Length <= limit && await stream.ReadAsync(buffer, stop) is > 0 and var count)
        {
            kept.Write(buffer, 0, (int)Math.Min(count, limit + 1 - kept.Length));
        }

        return kept.ToArray();
    }

    /// <summary>Lines without their ends, each cut at <see cref="MaxLineLength"/>. A line holds until the next is asked for.</summary>
    /// <param name="stream">UTF-8; a byte order mark is skipped.</param>
    public static IEnumerable<ReadOnlyMemory<byte>> Lines(Stream stream)
    {
        var buffer = new byte[64 * 1024];
        var (from, seen, to, isFirst) = (0, 0, 0, true);
        while (true)
        {
            if (buffer.AsSpan(seen, to - seen).IndexOf((byte)'\n') is >= 0 and var next)
            {
                yield return Line(buffer.AsMemory(from, seen + next - from), isFirst);
                from = seen += next + 1;
                isFirst = false;
                continue;
            }

            (buffer, to) = MakeRoom(buffer, from, to);
            (from, seen) = (0, to);
            to += stream.Read(buffer, to, buffer.Length - to);
            if (to == seen)
            {
                break;
            }
        }

        if (to > 0)
        {
            yield return Line(buffer.AsMemory(0, to), isFirst);
        }
    }

    /// <summary>Moves the line that has begun to the front; of one that is too long only what is kept of it.</summary>
    private static (byte[] Buffer, int Length) MakeRoom(byte[] buffer, int from, int to)
    {
        var length = Math.Min(to - from, MaxLineLength);
        var roomy = length > buffer.Length / 2 ? new byte[2 * buffer.Length] : buffer;
        buffer.AsSpan(from, length).CopyTo(roomy);
        return (roomy, length);
    }

    private static ReadOnlyMemory<byte> Line(ReadOnlyMemory<byte> line, bool isFirst)
    {
        var text = isFirst && line.Span.StartsWith(Encoding.UTF8.Preamble) ? line[Encoding.UTF8.Preamble.Length..] : line;
        return text[..Math.Min(text.Length, MaxLineLength)].TrimEnd((byte)'\r');
    }
}
