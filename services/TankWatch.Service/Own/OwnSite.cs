using System.Globalization;
using System.Text;
using TankWatch.Core;
using TankWatch.Core.Sites;
using TankWatch.Core.Time;

namespace TankWatch.Service.Own;

/// <summary>
/// The site that this service is to itself: a made-up unit reports made-up pumps, so that a message goes the whole way to a notice every
/// minute. It stands in no list, and nobody but <see cref="SelfWatch"/> hears of its alerts.
/// </summary>
internal static class OwnSite
{
    /// <summary>So many pumps take turns, one a minute: each alert needs a minute to be raised and another to be over.</summary>
    public const int Pumps = 4;

    /// <summary>A name that leads nowhere (RFC 2606).</summary>
    public const string Address = "itself@tankwatch.invalid";

    public static readonly UnitId Unit = new(SiteId.Own.Value);

    public static string Json { get; } = $$"""
        {
          "id": "{{SiteId.Own}}", "name": "{{SiteId.Own}}", "timeZone": "Etc/UTC",
          "tanks": [ {{Each(i => $$"""{ "id": "{{Tank(i)}}", "role": "overhead", "capacityLitres": 1000, "probes": [ { "name": "top", "volumeLitres": 900 } ] }""")}} ],
          "pumps": [ {{Each(i => $$"""{ "id": "{{Pump(i)}}", "from": null, "to": [ "{{Tank(i)}}" ], "maxStartsPerHour": 1000, "minRunSeconds": 1 }""")}} ],
          "units": [ { "id": "{{Unit}}", "reports": [ {{Each(i => $"\"{Tank(i)}\", \"{Pump(i)}\"")}} ] } ],
          "contacts": [ { "name": "itself", "email": "{{Address}}", "role": "caretaker", "digest": "none" } ]
        }
        """;

    public static SitePlan Plan { get; } = SiteFile.Parse(Encoding.UTF8.GetBytes(Json)).Plan ?? throw new InvalidOperationException("The site file of this service itself has a fault.");

    public static string Tank(int turn) => string.Create(CultureInfo.InvariantCulture, $"tank-{turn}");

    public static string Pump(int turn) => string.Create(CultureInfo.InvariantCulture, $"pump-{turn}");

    /// <summary>Its top probe is wet, and stays so: a pump that runs then is about to make it overflow.</summary>
    public static (string Kind, string Json) Full(int turn, DateTimeOffset at) => ("level", $$"""{"at":"{{Rfc3339.Format(at)}}","tank":"{{Tank(turn)}}","wet":[true]}""");

    public static (string Kind, string Json) Run(int turn, bool running, DateTimeOffset at) => (
        "pump", $$"""{"at":"{{Rfc3339.Format(at)}}","pump":"{{Pump(turn)}}","state":"{{(running ? "running" : "stopped")}}","cause":"manual","mode":"{{(running ? "manual" : "auto")}}"}""");

    private static string Each(Func<int, string> one) => string.Join(", ", Enumerable.Range(0, Pumps).Select(one));
}
