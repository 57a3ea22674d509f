using System.Globalization;
using System.Text;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests;

/// <summary>Small sites, written as site files so that each test also walks through the reader.</summary>
internal static class Plans
{
    public static SitePlan Of(string json)
    {
        var result = SiteFile.Parse(Encoding.UTF8.GetBytes(json));
        Assert.Empty(result.Faults);
        return result.Plan!;
    }

    /// <summary>The common arrangement: electrodes in the sump and on the roof.</summary>
    /// <param name="pump">More members of the pump, each with a leading comma.</param>
    /// <param name="site">More members of the site, each with a leading comma.</param>
    /// <param name="zone">IANA name.</param>
    public static SitePlan House(string pump = "", string site = "", string zone = "Etc/UTC") => Of($$"""
        {
          "id": "house", "name": "House", "timeZone": "{{zone}}",
          "tanks": [
            { "id": "sump", "role": "sump", "capacityLitres": 12000, "probes": [
              { "name": "cut-out", "volumeLitres": 1500 }, { "name": "restart", "volumeLitres": 4800 }, { "name": "full", "volumeLitres": 7200 } ] },
            { "id": "roof", "role": "overhead", "capacityLitres": 6000, "probes": [
              { "name": "low", "volumeLitres": 1500 }, { "name": "mid", "volumeLitres": 3900 }, { "name": "high", "volumeLitres": 5800 } ] }
          ],
          "pumps": [ { "id": "p1", "from": "sump", "to": ["roof"], "ratedLitresPerMinute": 80, "ratedWatts": 746{{pump}} } ],
          "units": [ { "id": "u1", "reports": ["sump", "roof", "p1"] } ]{{site}}
        }
        """);

    /// <summary>A roof tank over a bore or a sump that nobody can reach.</summary>
    /// <param name="probes">Litres at each probe, lowest first.</param>
    /// <param name="pump">More members of the pump, each with a leading comma.</param>
    /// <param name="capacity">Litres.</param>
    /// <param name="site">More members of the site, each with a leading comma.</param>
    public static SitePlan Bore(double[] probes, string pump = "", double capacity = 10_000, string site = "") => Of($$"""
        {
          "id": "bore", "name": "Bore", "timeZone": "Etc/UTC",
          "tanks": [ { "id": "roof", "role": "overhead", "capacityLitres": {{Text(capacity)}}, "probes": [ {{Probes(probes)}} ] } ],
          "pumps": [ { "id": "p1", "from": null, "to": ["roof"]{{pump}} } ],
          "units": [ { "id": "u1", "reports": ["roof", "p1"] } ]{{site}}
        }
        """);

    /// <summary>Two roof tanks on one riser.</summary>
    public static SitePlan TwoOnOneRiser() => Of($$"""
        {
          "id": "twins", "name": "Twins", "timeZone": "Etc/UTC",
          "tanks": [
            { "id": "east", "role": "overhead", "capacityLitres": 2000, "probes": [ {{Probes([500, 1000, 1800])}} ] },
            { "id": "west", "role": "overhead", "capacityLitres": 2000, "probes": [ {{Probes([500, 1000, 1800])}} ] } ],
          "pumps": [ { "id": "p1", "from": null, "to": ["east", "west"], "ratedLitresPerMinute": 60 } ],
          "units": [ { "id": "u1", "reports": ["east", "west", "p1"] } ]
        }
        """);

    public static string Text(double value) => value.ToString("R", CultureInfo.InvariantCulture);

    private static string Probes(double[] litres) =>
        string.Join(", ", litres.Select((v, i) => $$"""{ "name": "m{{i + 1}}", "volumeLitres": {{Text(v)}} }"""));
}
