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
    IReadOnlyList<ContactFileJson>? Contacts = null,
    EscalationFileJson? Escalation = null);

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
public sealed record ContactFileJson(
    string Name, string? Email = null, string? Phone = null,
    [property: Description("Whose turn it is, see escalation; caretaker when absent.")] string? Role = null,
    string? Language = null,
    [property: Description("Such as 22:00-07:00, local time: only what is critical comes then, the rest at their end.")] string? QuietHours = null,
    [property: Description("low, medium, high or critical; what is below it waits for the digest. medium when absent.")] string? FromPriority = null,
    [property: Description("now, digest or never by kind of alert; what is critical comes at once all the same.")] IReadOnlyDictionary<string, string>? Kinds = null,
    [property: Description("daily, weekly or none; daily when absent.")] string? Digest = null);

[Description("Who is asked after whom when nobody acknowledges, and how long each is given.")]
public sealed record EscalationFileJson(
    [property: Description("Roles, first to last; caretaker, then installer when absent. Other roles come after these.")] IReadOnlyList<string>? Order = null,
    [property: Description("Minutes by priority; critical 15, high 60 and medium 240 when absent.")] IReadOnlyDictionary<string, double>? Minutes = null);

[Description("One fault of a site file.")]
public sealed record SiteFaultJson(
    [property: Description("JSON path, such as $.tanks[1].probes[0].volumeLitres.")] string Path, string Message);
