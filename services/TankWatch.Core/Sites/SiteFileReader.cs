using System.Text.Json;

namespace TankWatch.Core.Sites;

/// <summary>Collects what is wrong with a site file while it is read.</summary>
internal sealed class SiteFileReader
{
    public List<SiteFault> Faults { get; } = [];
    public List<SiteFault> Warnings { get; } = [];

    /// <summary>A value from the file, cut and cleaned, so that a fault stays one short line.</summary>
    public static string Shown(string value)
    {
        var clean = string.Concat(value.Take(40).Select(c => char.IsControl(c) ? '?' : c));
        return value.Length > 40 ? clean + "…" : clean;
    }
}

/// <summary>A place in a site file. A read that fails notes its fault with the path and gives null.</summary>
internal sealed record JsonNode(JsonElement Element, string Path, SiteFileReader File)
{
    private const int MaxText = 200;

    public void Fault(string message) => File.Faults.Add(new(Path, message));
    public void Fault(string member, string message) => File.Faults.Add(new($"{Path}.{member}", message));

    public bool IsObject(string[] members)
    {
        if (Element.ValueKind != JsonValueKind.Object)
        {
            Fault("must be an object");
            return false;
        }

        var seen = new HashSet<string>(StringComparer.Ordinal);
        foreach (var member in Element.EnumerateObject())
        {
            if (!seen.Add(member.Name))
            {
                Fault(SiteFileReader.Shown(member.Name), "stands twice");
            }
            else if (!members.Contains(member.Name))
            {
                File.Warnings.Add(new($"{Path}.{SiteFileReader.Shown(member.Name)}", "unknown member, ignored"));
            }
        }

        return true;
    }

    public JsonNode? Find(string member) =>
        Element.TryGetProperty(member, out var value) && value.ValueKind != JsonValueKind.Null
            ? new(value, $"{Path}.{member}", File) : null;

    public string? Text(string member, bool required = false)
    {
        if (Find(member) is { } node)
        {
            return node.Text();
        }

        if (required)
        {
            Fault(member, "is missing");
        }

        return null;
    }

    public string? Text()
    {
        if (Element.ValueKind != JsonValueKind.String)
        {
            Fault("must be text");
            return null;
        }

        var text = Element.GetString()!;
        if (text.Length is 0 or > MaxText || string.IsNullOrWhiteSpace(text))
        {
            Fault($"must be 1 to {MaxText} characters");
            return null;
        }

        if (text.Any(char.IsControl))
        {
            Fault("must not hold control characters");
            return null;
        }

        return text;
    }

    public string? Id(string member)
    {
        var id = Text(member, required: true);
        if (id is not null && !IdRule.Holds(id))
        {
            Fault(member, $"'{SiteFileReader.Shown(id)}' must be {IdRule.InWords}");
            return null;
        }

        return id;
    }

    public double? Positive(string member, bool required = false, bool whole = false)
    {
        if (Find(member) is not { } node)
        {
            if (required)
            {
                Fault(member, "is missing");
            }

            return null;
        }

        if (node.Number() is not { } number)
        {
            Fault(member, "must be a number");
            return null;
        }

        // Above 1e9 no litre, watt or head count of a building is credible, and arithmetic stays exact below it.
        if (number is not (> 0 and <= 1e9) || (whole && number != Math.Floor(number)))
        {
            Fault(member, whole ? "must be a whole number greater than 0" : "must be greater than 0 and at most 1000000000");
            return null;
        }

        return number;
    }

    public double? Number() =>
        Element.ValueKind == JsonValueKind.Number && Element.TryGetDouble(out var number) && double.IsFinite(number) ? number : null;

    public bool Flag(string member)
    {
        if (Find(member) is not { } node)
        {
            return false;
        }

        if (node.Element.ValueKind is not (JsonValueKind.True or JsonValueKind.False))
        {
            Fault(member, "must be true or false");
        }

        return node.Element.ValueKind == JsonValueKind.True;
    }

    /// <summary>The members of an object whose names are not ours, in their order.</summary>
    /// <returns>Null with a fault.</returns>
    public List<(string Name, JsonNode Value)>? Members(int min, int max)
    {
        if (Element.ValueKind != JsonValueKind.Object)
        {
            Fault("must be an object");
            return null;
        }

        var members = Element.EnumerateObject().Select(m => (m.Name, new JsonNode(m.Value, $"{Path}.{SiteFileReader.Shown(m.Name)}", File))).ToList();
        if (members.Count < min || members.Count > max)
        {
            Fault($"must hold {min} to {max} members, not {members.Count}");
            return null;
        }

        foreach (var twice in members.GroupBy(m => m.Name, StringComparer.Ordinal).Where(same => same.Count() > 1))
        {
            Fault(SiteFileReader.Shown(twice.Key), "stands twice");
        }

        return [.. members.DistinctBy(m => m.Name, StringComparer.Ordinal)];
    }

    public List<JsonNode>? Array(string member, bool required = false, int min = 0, int max = 1000)
    {
        if (Find(member) is not { } node)
        {
            if (required)
            {
                Fault(member, "is missing");
            }

            return null;
        }

        if (node.Element.ValueKind != JsonValueKind.Array)
        {
            Fault(member, "must be an array");
            return null;
        }

        var length = node.Element.GetArrayLength();
        if (length < min || length > max)
        {
            Fault(member, $"must hold {min} to {max} entries, not {length}");
            return length > max ? null : [];
        }

        return [.. node.Element.EnumerateArray().Select((item, i) => new JsonNode(item, $"{node.Path}[{i}]", File))];
    }
}
