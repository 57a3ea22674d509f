using System.Text;
using System.Text.RegularExpressions;
using Xunit;

namespace TankWatch.Service.Tests.Visits;

/// <summary>One line of a calendar, unfolded.</summary>
internal sealed record CalendarProperty(string Name, IReadOnlyDictionary<string, string> Parameters, string Value)
{
    /// <summary>Of a value that is text: RFC 5545, 3.3.11.</summary>
    public string Text
    {
        get
        {
            Assert.DoesNotMatch(@"(?<!\\)(?:\\\\)*[;,]", Value);
            return Regex.Replace(Value, @"\\(.)", match => match.Groups[1].Value switch
            {
                "n" or "N" => "\n",
                "\\" or ";" or "," => match.Groups[1].Value,
                var other => throw new FormatException($"'\\{other}' is no escape"),
            });
        }
    }
}

/// <summary>
/// A strict reader, written from RFC 5545 as remembered (CHECKS J4 [M]): lines end in CRLF, are at most 75 octets long without it, are folded by CRLF and one blank,
/// never within a character (3.1); components are nested and closed (3.4); parameters may be quoted (3.2).
/// </summary>
internal sealed partial class CalendarReader
{
    private readonly List<(string Component, CalendarProperty Property)> all = [];

    public CalendarReader(byte[] bytes)
    {
        var open = new Stack<string>();
        foreach (var line in Unfold(bytes))
        {
            var property = PropertyOf(line);
            switch (property.Name)
            {
                case "BEGIN":
                    open.Push(property.Value);
                    break;
                case "END":
                    Assert.Equal(open.Pop(), property.Value);
                    break;
                default:
                    all.Add((open.Peek(), property));
                    break;
            }
        }

        Assert.Empty(open);
    }

    public static CalendarReader Of(string text) => new(Encoding.UTF8.GetBytes(text));

    public CalendarProperty Calendar(string name) => Assert.Single(All("VCALENDAR", name));

    public CalendarProperty Event(string name) => Assert.Single(All("VEVENT", name));

    public IReadOnlyList<CalendarProperty> All(string component, string name) =>
        [.. all.Where(one => one.Component == component && one.Property.Name == name).Select(one => one.Property)];

    private static IEnumerable<string> Unfold(byte[] bytes)
    {
        var strict = new UTF8Encoding(false, throwOnInvalidBytes: true);
        var lines = new List<string>();
        for (var from = 0; from < bytes.Length;)
        {
            var end = bytes.AsSpan(from).IndexOf((byte)'\n') + from;
            Assert.True(end > from && bytes[end - 1] == '\r', "a line does not end in CRLF");
            Assert.True(end - 1 - from <= 75, $"a line has {end - 1 - from} octets");
            var line = strict.GetString(bytes, from, end - 1 - from); // Fails where a character was cut.
            Assert.DoesNotContain(line, c => char.IsControl(c) && c != '\t');
            if (line.Length > 0 && line[0] is ' ' or '\t')
            {
                lines[^1] += line[1..];
            }
            else
            {
                lines.Add(line);
            }

            from = end + 1;
        }

        return lines.Where(line => line.Length > 0);
    }

    private static CalendarProperty PropertyOf(string line)
    {
        var match = Line().Match(line);
        Assert.True(match.Success, $"no property: {line}");
        var parameters = Parameter().Matches(match.Groups[2].Value).ToDictionary(one => one.Groups[1].Value, one => one.Groups[2].Value.Trim('"'));
        return new(match.Groups[1].Value, parameters, match.Groups[3].Value);
    }

    [GeneratedRegex("^([A-Z-]+)((?:;[A-Z-]+=(?:\"[^\"]*\"|[^\":;,]*))*):(.*)$")]
    private static partial Regex Line();

    [GeneratedRegex(";([A-Z-]+)=(\"[^\"]*\"|[^\":;,]*)")]
    private static partial Regex Parameter();
}
