using System.Collections.Immutable;
using System.Globalization;
using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using TankWatch.Core.Sites;
using TankWatch.Simulator.Use;

namespace TankWatch.Simulator.Trials;

/// <summary>A plausible building of a random size: its tanks, probes, pump and people in proportions that are met in practice.</summary>
internal sealed class TrialSite
{
    private const double FewestResidents = 4;
    private const double MostResidents = 200;
    private const int FewestForTwoTanks = 20;
    private const double SmallestTank = 500; // Litres: the smallest on sale.
    private const double LeastDelivery = 14; // Litres per minute: the smallest domestic pumps.

    private static readonly string[] Zones = ["Asia/Kolkata", "Asia/Karachi", "Asia/Kathmandu", "Asia/Dhaka", "Africa/Nairobi", "Etc/UTC"];
    private static readonly int[] Motors = [373, 560, 746, 1119, 1492, 2238];

    private readonly SeededStream _random;

    public TrialSite(SeededStream random, string name, bool probesClose, bool needsSump)
    {
        _random = random;
        Residents = (int)Math.Round(FewestResidents * Math.Pow(MostResidents / FewestResidents, random.Unit()));
        LitresPerDay = Residents * random.Between(115, 160);
        LitresPerMinute = Math.Max(LeastDelivery, LitresPerDay / 1440 * random.Between(9, 16));
        LiftMetres = Math.Round(random.Between(9, 13) + (13 * Math.Log10(1 + (Residents / 20.0))), 1);
        HasSump = needsSump || random.Chance(0.8);
        Tanks = Residents >= FewestForTwoTanks && random.Chance(0.2) ? ["east", "west"] : ["roof"];
        Start = FindStart(out var zone);
        File = Write(name, zone, probesClose);
    }

    public int Residents { get; }
    public double LitresPerDay { get; }
    public double LitresPerMinute { get; }
    public double LiftMetres { get; }
    public bool HasSump { get; }
    public ImmutableArray<string> Tanks { get; }
    public DateTimeOffset Start { get; }
    public string File { get; }

    public SitePlan Read() => SiteFile.Parse(Encoding.UTF8.GetBytes(File)).Plan!;

    /// <summary>The public supply some hours of the day, of which the site file says nothing.</summary>
    public ImmutableArray<SupplyHours> ChooseSupply() =>
    [
        SupplyFrom(_random.Between(4, 7), _random.Between(1.5, 3)),
        SupplyFrom(_random.Between(11, 13), _random.Between(1, 2)),
        SupplyFrom(_random.Between(17, 19), _random.Between(1.5, 3)),
    ];

    /// <returns>Minutes of supply a day; no hours are all day.</returns>
    public static double MinutesOf(ImmutableArray<SupplyHours> hours) => hours.IsEmpty ? 1440 : hours.Sum(h => (h.To - h.From).TotalMinutes);

    /// <summary>A morning and an evening peak, a quieter middle of the day and a night with little use, all of random size.</summary>
    public UsePattern ChooseUse()
    {
        var night = _random.Between(0.03, 0.15);
        var (morning, evening) = (_random.Between(6, 8.5), _random.Between(18, 20.5));
        var (high, late, middle) = (_random.Between(0.9, 1.7), _random.Between(0.7, 1.5), _random.Between(0.5, 1));
        var width = _random.Between(1.1, 2);
        return new()
        {
            Weekday = Shape(night, morning, high, evening, late, middle, width),
            Weekend = Shape(night, morning + _random.Between(0.2, 0.9), high * _random.Between(0.85, 1), evening, late, middle * _random.Between(1, 1.25), width * 1.1),
            WeekendScale = _random.Between(0.95, 1.15),
            DrawLitres = _random.Between(14, 23),
            DaySpread = _random.Between(0.08, 0.12),
            DayMemory = _random.Between(0.2, 0.35),
            LevelDrift = _random.Between(0, 0.12),
            ShapeDrift = _random.Between(0, 0.06),
            DriftDays = _random.Between(40, 120),
        };
    }

    // The night is a share of the mean hour, the others are relative to one another; times and width in hours.
    private static ImmutableArray<double> Shape(double night, double morning, double high, double evening, double late, double middle, double width)
    {
        var hours = new double[24];
        for (var hour = 0; hour < 24; hour++)
        {
            var at = hour + 0.5;
            var awake = 1 / (1 + Math.Exp(-2.5 * (at - morning + 1.3))) / (1 + Math.Exp(2 * (at - 22.5)));
            hours[hour] = awake * (middle + (high * Peak(at - morning, width)) + (late * Peak(at - evening, width)));
        }

        // The day is scaled so that the night, added to every hour, is that share of the whole.
        var mean = hours.Average();
        return [.. hours.Select(h => night + ((1 - night) * h / mean))];
    }

    private static double Peak(double hours, double width) => Math.Exp(-hours * hours / (2 * width * width));

    private DateTimeOffset FindStart(out string zone)
    {
        zone = Zones[(int)_random.Between(0, Zones.Length)];
        var local = new DateTime(2024, 1, 1).AddDays((int)_random.Between(0, 365));
        return new DateTimeOffset(local, TimeZoneInfo.FindSystemTimeZoneById(zone).GetUtcOffset(local)).ToUniversalTime();
    }

    private static SupplyHours SupplyFrom(double hour, double hours)
    {
        var from = TimeOnly.MinValue.AddMinutes(Math.Round(hour * 4) * 15);
        return new(from, from.AddHours(hours));
    }

    private string Write(string name, string zone, bool probesClose)
    {
        var tanks = new JsonArray();
        if (HasSump)
        {
            var capacity = Rounded(LitresPerDay * _random.Between(1.3, 1.7));
            var low = _random.Between(0.14, 0.19);
            tanks.Add(Tank("sump", "sump", capacity, ("cut-out", low), ("restart", low + _random.Between(0.08, 0.18)), ("full", 0.92)));
        }

        var shares = Tanks.Length == 1 ? [1.0] : Split(_random.Between(0.35, 0.65));
        var (runs, count) = (_random.Between(2.2, 6.5), ChooseProbeCount());
        for (var i = 0; i < Tanks.Length; i++)
        {
            var (low, high) = probesClose ? Close() : (_random.Between(0.22, 0.26), _random.Between(0.78, 0.85));
            var band = probesClose ? LitresPerMinute * _random.Between(0.6, 1.1) : LitresPerDay * shares[i] / runs; // Close probes: a minute of filling.
            var capacity = Math.Max(probesClose ? 0 : SmallestTank, Rounded(band / (high - low)));
            tanks.Add(Tank(Tanks[i], "overhead", capacity, [.. ProbesBetween(low, high, count)]));
        }

        return new JsonObject
        {
            ["id"] = name,
            ["name"] = CultureInfo.InvariantCulture.TextInfo.ToTitleCase(name.Replace('-', ' ')),
            ["timeZone"] = zone,
            ["residents"] = Residents,
            ["electricityPricePerKwh"] = 0.09,
            ["currency"] = "USD",
            ["tanks"] = tanks,
            ["pumps"] = new JsonArray(Pump()),
            ["units"] = new JsonArray(new JsonObject { ["id"] = "fu-0001", ["reports"] = Names([.. HasSump ? ["sump"] : Array.Empty<string>(), .. Tanks, "p1"]) }),
            ["contacts"] = new JsonArray(),
        }.ToJsonString(new JsonSerializerOptions { WriteIndented = true });
    }

    private JsonObject Pump()
    {
        var hydraulic = LitresPerMinute / 60 * 9.81 * LiftMetres; // Watts of lifting alone.
        var pump = new JsonObject { ["id"] = "p1", ["to"] = Names(Tanks), ["ratedWatts"] = Motors.FirstOrDefault(w => w > 3 * hydraulic, Motors[^1]) };
        if (HasSump)
        {
            pump["from"] = "sump";
        }

        pump["ratedLitresPerMinute"] = Math.Round(LitresPerMinute / _random.Between(0.7, 1));
        pump["staticLiftMetres"] = LiftMetres;
        pump["maxStartsPerHour"] = 6;
        pump["dryRunDetector"] = false;
        return pump;
    }

    private int ChooseProbeCount() => _random.Unit() switch { < 0.25 => 2, < 0.8 => 3, _ => 4 };

    /// <summary>A low and a high probe 3 to 5 cm apart in a tank 1.2 m deep.</summary>
    private (double Low, double High) Close()
    {
        var low = _random.Between(0.6, 0.75);
        return (low, low + _random.Between(0.025, 0.042));
    }

    private static double[] Split(double share) => [share, 1 - share];

    private static IEnumerable<(string Name, double Share)> ProbesBetween(double low, double high, int count)
    {
        string[] names = count switch { 2 => ["low", "high"], 3 => ["low", "mid", "high"], _ => ["low", "lower-mid", "upper-mid", "high"] };
        return names.Select((name, i) => (name, low + ((high - low) * i / (count - 1))));
    }

    private static JsonObject Tank(string id, string role, double capacity, params (string Name, double Share)[] probes) => new()
    {
        ["id"] = id,
        ["role"] = role,
        ["capacityLitres"] = capacity,
        ["probes"] = new JsonArray([.. probes.Select(p => new JsonObject { ["name"] = p.Name, ["volumeLitres"] = Math.Round(p.Share * capacity, 1) })]),
    };

    private static JsonArray Names(IEnumerable<string> names) => new([.. names.Select(n => JsonValue.Create(n))]);

    private static double Rounded(double litres) => Math.Round(litres / 10) * 10;
}
