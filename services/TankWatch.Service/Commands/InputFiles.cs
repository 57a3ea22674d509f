using System.Text;

namespace TankWatch.Service.Commands;

/// <summary>Files that a person names on the command line.</summary>
internal static class InputFiles
{
    /// <summary>A longer line cannot be a message (256 KiB at most); it is cut here and refused where it is read.</summary>
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

    /// <summary>Lines without their ends, each cut at <see cref="MaxLineLength"/> characters.</summary>
    /// <param name="stream">UTF-8; a byte order mark is skipped.</param>
    public static IEnumerable<string> Lines(Stream stream)
    {
        using var reader = new StreamReader(stream, Encoding.UTF8, detectEncodingFromByteOrderMarks: true, 64 * 1024);
        var line = new StringBuilder();
        var buffer = new char[32 * 1024];
        var pending = false;
        int count;
        while ((count = reader.Read(buffer, 0, buffer.Length)) > 0)
        {
            var rest = buffer.AsMemory(0, count);
            while (rest.Span.IndexOf('\n') is >= 0 and var end)
            {
                yield return Ended(line, rest[..end]);
                rest = rest[(end + 1)..];
                pending = false;
            }

            pending |= rest.Length > 0;
            Append(line, rest);
        }

        if (pending)
        {
            yield return Ended(line, default);
        }
    }

    private static string Ended(StringBuilder line, ReadOnlyMemory<char> last)
    {
        Append(line, last);
        var text = line.ToString().TrimEnd('\r');
        line.Clear();
        return text;
    }

    private static void Append(StringBuilder line, ReadOnlyMemory<char> part) =>
        line.Append(part.Span[..Math.Min(part.Length, MaxLineLength - line.Length)]);
}
