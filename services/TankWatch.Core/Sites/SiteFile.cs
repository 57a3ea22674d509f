using System.Collections.Immutable;
using System.Text.Json;

namespace TankWatch.Core.Sites;

/// <summary>One fault of a site file.</summary>
/// <param name="Path">JSON path, such as <c>$.tanks[1].probes[0].volumeLitres</c>.</param>
/// <param name="Message">What is wrong, and what would be right.</param>
public sealed record SiteFault(string Path, string Message)
{
    public override string ToString() => $"{Path}: {Message}";
}

/// <param name="Plan">Null when there is any fault.</param>
/// <param name="Faults">Every fault, in the order of the file.</param>
/// <param name="Warnings">What is taken all the same: unknown members, devices that nobody reports.</param>
public sealed record SiteFileResult(SitePlan? Plan, ImmutableArray<SiteFault> Faults, ImmutableArray<SiteFault> Warnings);

/// <summary>The site file: JSON that says what is installed. A file with a fault is refused whole, with every fault named.</summary>
public static class SiteFile
{
    public const int MaxBytes = 1024 * 1024;

    private static readonly string[] Members =
    [
        "id", "name", "timeZone", "residents", "electricityPricePerKwh", "currency", "tanks", "pumps", "units", "area", "coordinates",
        "supplyHours", "contacts", "escalation",
    ];

    /// <param name="utf8">The file's bytes.</param>
    public static SiteFileResult Parse(ReadOnlyMemory<byte> utf8)
    {
        if (utf8.Length > MaxBytes)
        {
            return Refused("$", $"larger than {MaxBytes / 1024} KiB");
        }

        try
        {
            using var document = JsonDocument.Parse(WithoutByteOrderMark(utf8), new JsonDocumentOptions { MaxDepth = 16 });
            return Read(document.RootElement);
        }
        catch (JsonException fault)
        {
            return Refused("$", $"not JSON, at line {fault.LineNumber + 1}, byte {fault.BytePositionInLine + 1}");
        }
        catch (InvalidOperationException)
        {
            // System.Text.Json reports a string of broken UTF-8 or a lone surrogate only when the string is asked for.
            return Refused("$", "holds text that is not valid Unicode");
        }
    }

    private static SiteFileResult Refused(string path, string message) => new(null, [new(path, message)], []);

    private static ReadOnlyMemory<byte> WithoutByteOrderMark(ReadOnlyMemory<byte> utf8) =>
        utf8.Span.StartsWith("\uFEFF"u8) ? utf8[3..] : utf8;

    private static SiteFileResult Read(JsonElement root)
    {
        var file = new SiteFileReader();
        var site = new JsonNode(root, "$", file);
        if (!site.IsObject(Members))
        {
            return new(null, [.. file.Faults], []);
        }

        var id = site.Id("id");
        var name = site.Text("name", required: true);
        var zone = TimeZone(site);
        var residents = site.Positive("residents", whole: true);
        var price = site.Positive("electricityPricePerKwh");
        var currency = Currency(site);
        var tanks = DeviceFile.Tanks(site);
        var pumps = DeviceFile.Pumps(site, tanks);
        DeviceFile.RequireUniqueIds(tanks, pumps, file);
        var units = DeviceFile.Units(site, tanks, pumps);

        // Read whether or not there are faults already, so that theirs are listed too.
        var (area, coordinates, supplyHours) = (site.Text("area"), Coordinates(site), SupplyHoursOf(site));
        var (contacts, escalation) = (ContactFile.Contacts(site), ContactFile.Escalation(site));
        var plan = file.Faults.Count > 0 ? null : new SitePlan(
            new(id!), name!, zone!, (int?)residents, price, currency,
            [.. tanks.Select(t => t.Item!)], [.. pumps.Select(p => p.Item!)], units, area, coordinates, supplyHours, contacts) { Escalation = escalation };

        return new(plan, [.. file.Faults], [.. file.Warnings]);
    }

    private static TimeZoneInfo? TimeZone(JsonNode site)
    {
        if (site.Text("timeZone", required: true) is not { } name)
        {
            return null;
        }

        if (TimeZoneInfo.TryFindSystemTimeZoneById(name, out var zone))
        {
            return zone;
        }

        site.Fault("timeZone", $"'{SiteFileReader.Shown(name)}' is no time zone of the IANA database, such as Asia/Kolkata");
        return null;
    }

    private static string? Currency(JsonNode site)
    {
        var currency = site.Text("currency");
        if (currency is not null && !(currency.Length == 3 && currency.All(char.IsAsciiLetterUpper)))
        {
            site.Fault("currency", "must be a code of three capital letters (ISO 4217), such as EUR");
        }

        return currency;
    }

    private static (double Latitude, double Longitude)? Coordinates(JsonNode site)
    {
        if (site.Array("coordinates") is not { } pair)
        {
            return null;
        }

        var numbers = pair.Select(n => n.Number()).ToArray();
        if (numbers is [{ } latitude, { } longitude] && Math.Abs(latitude) <= 90 && Math.Abs(longitude) <= 180)
        {
            return (latitude, longitude);
        }

        site.Fault("coordinates", "must be [latitude, longitude] in degrees, at most ±90 and ±180");
        return null;
    }

    private static ImmutableArray<SupplyHours> SupplyHoursOf(JsonNode site)
    {
        var spans = ImmutableArray.CreateBuilder<SupplyHours>();
        foreach (var span in site.Array("supplyHours") ?? [])
        {
            if (span.Text() is { } text)
            {
                if (ContactFile.Span(text) is { } hours)
                {
                    spans.Add(new(hours.From, hours.To));
                }
                else
                {
                    span.Fault("must be two times of day such as 05:30-07:30");
                }
            }
        }

        return spans.ToImmutable();
    }
}
