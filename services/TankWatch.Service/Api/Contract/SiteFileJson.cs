using System.ComponentModel;

namespace TankWatch.Service.Api.Contract;

// The site file's shape, for the OpenAPI document alone: files are read by TankWatch.Core.Sites.SiteFile and returned as they came.

[Description("What is installed at a site. A file with a fault is refused whole, with every fault listed by its JSON path.")]
public sealed record SiteFileJson(
    string Id, string Name,
    [property: Description("Of the IANA database, such as Europe/Lisbon.")] string TimeZone,
    IReadOnlyList<TankFileJson> Tanks, IReadOnlyList<PumpFileJson> Pumps, IReadOnlyList<UnitFileJson> Units,
    int? Residents = null, double? ElectricityPricePerKwh = null,
    [property: Description("ISO 4217.")] string? Currency = null,
    string? Area = null,
    [property: Description("Latitude and longitude, degrees.")] IReadOnlyList<double>? Coordinates = null,
    [property: Description("Such as 05:30-07:30, local time.")] IReadOnlyList<string>? SupplyHours = null,
    IReadOnlyList<ContactFileJson>? Contacts = null);

[Description("A tank and its probes, from the lowest to the highest.")]
public sealed record TankFileJson(
    string Id,
    [property: Description("overhead or sump.")] string Role,
    double CapacityLitres, IReadOnlyList<ProbeFileJson> Probes,
    [property: Description("Not water to use; left out of every forecast.")] double? FireReserveLitres = null);

[Description("A probe, and what its tank holds when the surface just touches it.")]
public sealed record ProbeFileJson(string Name, double VolumeLitres);

[Description("A pump, what it draws from and what it fills.")]
public sealed record PumpFileJson(
    string Id,
    [property: Description("A sump; null for a bore or a sump without probes.")] string? From,
    [property: Description("The tanks on its riser.")] IReadOnlyList<string> To,
    double? RatedWatts = null, double? RatedLitresPerMinute = null, double? StaticLiftMetres = null,
    double? MaxStartsPerHour = null, double? MinRunSeconds = null, double? RiserLitres = null, bool? DryRunDetector = null);

[Description("A field unit and the tanks and pumps it reports.")]
public sealed record UnitFileJson(string Id, IReadOnlyList<string> Reports);

[Description("Somebody to tell.")]
public sealed record ContactFileJson(string Name, string? Email = null, string? Phone = null, string? Role = null, string? Language = null);

[Description("One fault of a site file.")]
public sealed record SiteFaultJson(
    [property: Description("JSON path, such as $.tanks[1].probes[0].volumeLitres.")] string Path, string Message);
