using System.Text;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Sites;

public sealed class SiteFileTests
{
    // The example of INTERFACE 2.
    private const string Example = """
        {
          "id": "alder-row", "name": "Alder Row", "timeZone": "Europe/Lisbon", "residents": 48,
          "electricityPricePerKwh": 0.21, "currency": "EUR",
          "tanks": [
            { "id": "sump", "role": "sump", "capacityLitres": 12000,
              "probes": [ { "name": "cut-out", "volumeLitres": 1500 }, { "name": "restart", "volumeLitres": 4800 }, { "name": "full", "volumeLitres": 7200 } ] },
            { "id": "roof", "role": "overhead", "capacityLitres": 6000,
              "probes": [ { "name": "low", "volumeLitres": 1500 }, { "name": "mid", "volumeLitres": 3900 }, { "name": "high", "volumeLitres": 5800 } ] }
          ],
          "pumps": [
            { "id": "p1", "from": "sump", "to": [ "roof" ], "ratedWatts": 746, "ratedLitresPerMinute": 80, "staticLiftMetres": 18,
              "maxStartsPerHour": 6, "minRunSeconds": 90, "riserLitres": 11, "dryRunDetector": true }
          ],
          "units": [ { "id": "fu-0017", "reports": [ "sump", "roof", "p1" ] } ],
          "area": "harbour-side", "coordinates": [ 38.71, -9.14 ], "supplyHours": [ "05:30-07:30", "17:00-19:00" ],
          "contacts": [ { "name": "Caretaker", "email": "caretaker@example.org", "phone": "+351…", "role": "caretaker", "language": "en" } ]
        }
        """;

    private static SiteFileResult Parse(string json) => SiteFile.Parse(Encoding.UTF8.GetBytes(json));

    private static string[] Paths(SiteFileResult result)
    {
        Assert.Null(result.Plan); // A file with a fault is refused whole.
        Assert.All(result.Faults, f => Assert.True(f.Message.Length is > 0 and < 200 && !f.Message.Contains('\n', StringComparison.Ordinal)));
        return [.. result.Faults.Select(f => f.Path).Order(StringComparer.Ordinal)];
    }

    [Fact]
    public void The_example_of_the_interface_is_read_whole()
    {
        var result = Parse(Example);
        Assert.Empty(result.Faults);
        Assert.Empty(result.Warnings);
        var (plan, pump) = (result.Plan!, result.Plan!.Pumps[0]);
        Assert.Equal(("alder-row", "Alder Row", "Europe/Lisbon", 48, 0.21, "EUR"), (plan.Id.Value, plan.Name, plan.TimeZone.Id, plan.Residents!.Value, plan.ElectricityPricePerKwh!.Value, plan.Currency));
        Assert.Equal([1500, 4800, 7200], plan.Tanks[0].Probes.Select(p => p.Volume.Value));
        Assert.Equal((TankRole.Sump, TankRole.Overhead, 6000, 0), (plan.Tanks[0].Role, plan.Tanks[1].Role, plan.Tanks[1].Capacity.Value, plan.Tanks[1].FireReserve.Value));
        Assert.Equal((0, 746.0, 80.0, 18.0, 6.0, 90.0, 11.0, true), (pump.From!.Value, pump.RatedWatts!.Value, pump.RatedDelivery!.Value.Value, pump.StaticLiftMetres!.Value, pump.MaxStartsPerHour, pump.MinRun.TotalSeconds, pump.Riser!.Value.Value, pump.DryRunDetector));
        Assert.False(pump.MaxStartsAssumed || pump.MinRunAssumed);
        Assert.Equal([1], pump.To);
        Assert.Equal(new SupplyHours(new(17, 0), new(19, 0)), plan.SupplyHours[1]);
        Assert.Equal((38.71, -9.14), plan.Coordinates);
        Assert.Equal("caretaker@example.org", plan.Contacts.Single().Email);
        Assert.Equal([0, 1], plan.FindUnit(new("fu-0017"))!.Tanks);
    }

    [Fact]
    public void What_is_not_given_is_left_out_and_the_motors_limits_are_assumed()
    {
        // Six starts and 90 s: common practice, no source (INTERFACE 2).
        var plan = Plans.Bore([300]);
        Assert.Equal((6, true, 90, true), (plan.Pumps[0].MaxStartsPerHour, plan.Pumps[0].MaxStartsAssumed, plan.Pumps[0].MinRun.TotalSeconds, plan.Pumps[0].MinRunAssumed));
        Assert.Equal((null, null, null, null), (plan.Residents, plan.Pumps[0].RatedWatts, plan.Pumps[0].RatedDelivery, plan.Pumps[0].From));
    }

    [Fact]
    public void Unknown_members_and_unreported_devices_only_warn()
    {
        var result = Parse(Example.Replace("\"residents\": 48", "\"colour\": \"red\", \"residents\": 48", StringComparison.Ordinal).Replace("\"roof\", \"p1\" ]", "\"p1\" ]", StringComparison.Ordinal)
            .Replace("\"name\": \"mid\"", "\"depth\": 3, \"name\": \"mid\"", StringComparison.Ordinal));
        Assert.NotNull(result.Plan);
        Assert.Equal(["$.colour", "$.tanks[1]", "$.tanks[1].probes[1].depth"], result.Warnings.Select(w => w.Path).Order(StringComparer.Ordinal));
    }

    [Theory]
    [InlineData("\"id\": \"alder-row\", ", "", "$.id")]
    [InlineData("\"alder-row\"", "\"alder row\"", "$.id")]
    [InlineData("\"alder-row\"", "7", "$.id")]
    [InlineData("\"Alder Row\"", "\"\"", "$.name")]
    [InlineData("Alder Row", "Alder\\u000aRow", "$.name")] // A line break must never reach a mail's header.
    [InlineData("Europe/Lisbon", "Europe/Lisboa", "$.timeZone")]
    [InlineData("\"residents\": 48", "\"residents\": 48.5", "$.residents")]
    [InlineData("\"residents\": 48", "\"residents\": 0", "$.residents")]
    [InlineData("0.21", "-0.21", "$.electricityPricePerKwh")]
    [InlineData("\"EUR\"", "\"euro\"", "$.currency")]
    [InlineData("\"capacityLitres\": 6000", "\"capacityLitres\": \"6000\"", "$.tanks[1].capacityLitres")]
    [InlineData("\"capacityLitres\": 6000", "\"capacityLitres\": 5000", "$.tanks[1].probes[2].volumeLitres")]
    [InlineData("\"capacityLitres\": 6000", "\"capacityLitres\": 6000, \"fireReserveLitres\": 6000", "$.tanks[1].fireReserveLitres")]
    [InlineData("\"role\": \"overhead\"", "\"role\": \"attic\"", "$.tanks[1].role")]
    [InlineData("\"volumeLitres\": 3900", "\"volumeLitres\": 1500", "$.tanks[1].probes[1].volumeLitres")]
    [InlineData("\"volumeLitres\": 3900", "\"volumeLitres\": 1e400", "$.tanks[1].probes[1].volumeLitres")]
    [InlineData("\"name\": \"mid\"", "\"name\": \"low\"", "$.tanks[1].probes[1].name")]
    [InlineData("\"from\": \"sump\"", "\"from\": \"roof\"", "$.pumps[0].from")]
    [InlineData("\"from\": \"sump\"", "\"from\": \"well\"", "$.pumps[0].from")]
    [InlineData("[ \"roof\" ]", "[ \"sump\" ]", "$.pumps[0].to[0]")]
    [InlineData("[ \"roof\" ]", "[ \"roof\", \"roof\" ]", "$.pumps[0].to[1]")]
    [InlineData("[ \"roof\" ]", "[ ]", "$.pumps[0].to")]
    [InlineData("\"ratedWatts\": 746", "\"ratedWatts\": 0", "$.pumps[0].ratedWatts")]
    [InlineData("\"minRunSeconds\": 90", "\"minRunSeconds\": -1", "$.pumps[0].minRunSeconds")]
    [InlineData("\"dryRunDetector\": true", "\"dryRunDetector\": \"yes\"", "$.pumps[0].dryRunDetector")]
    [InlineData("\"roof\", \"p1\" ]", "\"roof\", \"p9\" ]", "$.units[0].reports[2]")]
    [InlineData("\"roof\", \"p1\" ]", "\"roof\", \"roof\" ]", "$.units[0].reports[2]")]
    [InlineData("05:30-07:30", "05:30", "$.supplyHours[0]")]
    [InlineData("05:30-07:30", "25:00-26:00", "$.supplyHours[0]")]
    [InlineData("05:30-07:30", "05:30-05:30", "$.supplyHours[0]")]
    [InlineData("38.71, -9.14", "98.71, -9.14", "$.coordinates")]
    [InlineData("38.71, -9.14", "38.71", "$.coordinates")]
    [InlineData("caretaker@example.org", "caretaker", "$.contacts[0].email")]
    [InlineData("caretaker@example.org", "a@b@c", "$.contacts[0].email")]
    [InlineData("caretaker@example.org", "a b@example.org", "$.contacts[0].email")]
    [InlineData("\"name\": \"Caretaker\", ", "", "$.contacts[0].name")]
    [InlineData("\"residents\": 48", "\"residents\": 48, \"residents\": 48", "$.residents")]
    [InlineData("\"maxStartsPerHour\": 6", "\"maxStartsPerHour\": 6, \"maxStartsPerHour\": 6", "$.pumps[0].maxStartsPerHour")]
    [InlineData("\"fu-0017\"", "\"fu/0017\"", "$.units[0].id")]
    public void One_fault_is_named_by_its_path_and_nothing_else(string right, string wrong, string path)
    {
        Assert.Contains(right, Example, StringComparison.Ordinal);
        Assert.Equal([path], Paths(Parse(Example.Replace(right, wrong, StringComparison.Ordinal))));
    }
}
