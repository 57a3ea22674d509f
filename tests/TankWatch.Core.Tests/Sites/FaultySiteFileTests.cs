using System.Text;
using CsCheck;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Sites;

public sealed class FaultySiteFileTests
{
    private static string[] Paths(byte[] utf8)
    {
        var result = SiteFile.Parse(utf8);
        Assert.Null(result.Plan);
        return [.. result.Faults.Select(f => f.Path).Order(StringComparer.Ordinal)];
    }

    private static string[] Paths(string json) => Paths(Encoding.UTF8.GetBytes(json));

    [Fact]
    public void All_faults_are_listed_at_once()
    {
        string[] expected =
        [
            "$.contacts[0].email", "$.coordinates", "$.currency", "$.name", "$.pumps[0].from", "$.pumps[0].minRunSeconds", "$.pumps[0].to[0]", "$.pumps[1].id",
            "$.pumps[1].to", "$.supplyHours[1]", "$.tanks[0].capacityLitres", "$.tanks[1].id", "$.tanks[1].probes", "$.tanks[2].probes[1].volumeLitres",
            "$.tanks[2].role", "$.timeZone", "$.units[0].reports[0]", "$.units[1].id",
        ];
        Assert.Equal(expected.Order(StringComparer.Ordinal), Paths("""
            { "id": "bad", "timeZone": "Mars/Olympus", "currency": "x",
              "tanks": [ { "id": "a", "role": "sump", "capacityLitres": -1, "probes": [] },
                { "id": "a", "role": "overhead", "capacityLitres": 100 },
                { "id": "c", "role": "cellar", "capacityLitres": 100, "probes": [ { "name": "x", "volumeLitres": 50 }, { "name": "y", "volumeLitres": 40 } ] } ],
              "pumps": [ { "id": "p", "from": "nowhere", "to": ["nobody"], "minRunSeconds": 0 }, { "id": "p" } ],
              "units": [ { "id": "u", "reports": ["z"] }, { "id": "u", "reports": ["p"] } ],
              "coordinates": [1, 2, 3], "supplyHours": ["05:00-06:00", "never"], "contacts": [ { "name": "N", "email": "<a@b>" } ] }
            """));
    }

    [Fact]
    public void An_empty_object_lacks_all_that_is_required() =>
        Assert.Equal(["$.id", "$.name", "$.pumps", "$.tanks", "$.timeZone", "$.units"], Paths("{}"));

    [Theory]
    [InlineData("")]
    [InlineData("{")]
    [InlineData("[]")]
    [InlineData("7")]
    [InlineData("null")]
    [InlineData("""{"id": NaN}""")] // JSON has no such number.
    [InlineData("""{"id": "a" } trailing""")]
    [InlineData("""{"name": "\ud800"}""")]
    [InlineData("""{"\ud800": 1}""")]
    public void What_is_no_site_at_all_is_one_fault_at_the_root(string json) => Assert.Equal(["$"], Paths(json));

    [Fact]
    public void Broken_utf8_and_a_huge_file_are_one_fault_at_the_root()
    {
        Assert.Equal(["$"], Paths([.. "{\"name\": \""u8, 0xC3, 0x28, .. "\"}"u8]));
        Assert.Equal(["$"], Paths(new string(' ', (1024 * 1024) + 1)));
        Assert.Equal(["$"], Paths(new string('[', 100_000)));
    }

    [Fact]
    public void A_byte_order_mark_is_no_fault() =>
        Assert.Equal(["$.id", "$.name", "$.pumps", "$.tanks", "$.timeZone", "$.units"], Paths([0xEF, 0xBB, 0xBF, .. "{}"u8]));

    private static string Tank(int probes, string role = "overhead") => $$"""
        { "id": "s", "name": "S", "timeZone": "Etc/UTC", "pumps": [], "units": [],
          "tanks": [ { "id": "t", "role": "{{role}}", "capacityLitres": 900, "probes": [ {{string.Join(", ", Enumerable.Range(1, probes).Select(i => $$"""{ "name": "n{{i}}", "volumeLitres": {{i * 100}} }"""))}} ] } ] }
        """;

    [Theory]
    [InlineData(0, "overhead", false)]
    [InlineData(1, "overhead", true)]
    [InlineData(8, "overhead", true)]
    [InlineData(9, "overhead", false)]
    [InlineData(0, "sump", true)]
    [InlineData(8, "sump", true)]
    [InlineData(9, "sump", false)]
    public void An_overhead_tank_has_one_to_eight_probes_and_a_sump_none_to_eight(int probes, string role, bool fine)
    {
        var json = Encoding.UTF8.GetBytes(Tank(probes, role));
        if (fine)
        {
            Assert.Equal(probes, SiteFile.Parse(json).Plan!.Tanks[0].Probes.Length);
        }
        else
        {
            Assert.Equal(["$.tanks[0].probes"], Paths(json));
        }
    }

    [Theory]
    [InlineData(".", false)]
    [InlineData("..", false)]
    [InlineData("...", true)]
    [InlineData("-", true)]
    [InlineData(".a", true)]
    public void An_id_that_an_address_takes_for_a_step_in_its_path_is_refused_everywhere(string id, bool fine)
    {
        var json = $$"""
            { "id": "{{id}}", "name": "S", "timeZone": "Etc/UTC", "pumps": [], "units": [ { "id": "{{id}}", "reports": [ "t" ] } ],
              "tanks": [ { "id": "t", "role": "sump", "capacityLitres": 900, "probes": [] }, { "id": "{{id}}", "role": "sump", "capacityLitres": 900, "probes": [] } ] }
            """;
        Assert.Equal(fine ? [] : ["$.id", "$.tanks[1].id", "$.units[0].id"], SiteFile.Parse(Encoding.UTF8.GetBytes(json)).Faults.Select(f => f.Path).Order(StringComparer.Ordinal));
    }

    [Fact]
    public void A_fault_tells_a_strange_value_in_one_short_line()
    {
        var result = SiteFile.Parse(Encoding.UTF8.GetBytes($$"""{ "id": "a", "name": "b", "tanks": [], "pumps": [], "units": [], "timeZone": "{{new string('x', 150)}}" }"""));
        Assert.All(result.Faults, f => Assert.True(f.ToString().Length < 200));
        Assert.Equal(["$.tanks", "$.timeZone"], result.Faults.Select(f => f.Path).Order(StringComparer.Ordinal));
    }

    [Fact]
    public void No_change_of_a_site_file_makes_the_reader_throw()
    {
        var good = Encoding.UTF8.GetBytes(Tank(3));
        Gen.Select(Gen.Int[0, good.Length - 1], Gen.Byte, Gen.Int[0, 12]).Array[1, 4].Sample(
            changes =>
            {
                var bytes = good.ToList();
                foreach (var (at, value, cut) in changes)
                {
                    bytes[at % bytes.Count] = value;
                    bytes.RemoveRange(at % bytes.Count, Math.Min(cut, bytes.Count - (at % bytes.Count) - 1));
                }

                var result = SiteFile.Parse(bytes.ToArray());
                return result.Plan is null == !result.Faults.IsEmpty;
            }, iter: 2000, threads: 1);
    }
}
