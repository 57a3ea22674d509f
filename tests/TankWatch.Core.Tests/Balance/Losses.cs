using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using TankWatch.Core.Replaying;
using TankWatch.Core.Tests.Replaying;

namespace TankWatch.Core.Tests.Balance;

/// <summary>What a building may have to do without.</summary>
public enum Loss
{
    /// <summary>
    /// Nothing is heard for a day, from the first rest of the pump twelve hours after the fault began; of a sound system in the middle of the
    /// recording. (A run whose end nobody hears of is called too long before anybody can know that the unit is silent.)
    /// </summary>
    DayOfSilence,

    /// <summary>Units do not know the time: that of receipt serves.</summary>
    Clocks,

    /// <summary>Nobody can reach the sump.</summary>
    SumpProbes,

    /// <summary>Two probes on the roof instead of three.</summary>
    MiddleProbe,
}

/// <summary>Recordings of which something was taken away.</summary>
internal static partial class Losses
{
    public static ReplayResult Replay(Recorded recorded, Loss loss) => loss switch
    {
        Loss.DayOfSilence => recorded.Run(Without(recorded.Lines, SilentFrom(recorded))),
        Loss.Clocks => recorded.Run(recorded.Lines.Select(line => Clock().Replace(line, ""))),
        Loss.SumpProbes => Recorded.Run(recorded.Lines.Where(line => !line.Contains("\"tank\":\"sump\"", StringComparison.Ordinal)), WithoutSump(recorded.SiteJson)),
        _ => Recorded.Run(recorded.Lines.Select(line => Roof().Replace(line, "$1$3")), WithoutMiddle(recorded.SiteJson)),
    };

    /// <summary>Whether the site has what is to be taken away.</summary>
    public static bool Has(Recorded recorded, Loss loss) => loss switch
    {
        Loss.SumpProbes => recorded.Plan.FindTank("sump") is not null,
        Loss.MiddleProbe => recorded.Plan.FindTank("roof")!.Probes.Length == 3,
        _ => true,
    };

    public static DateTimeOffset SilentFrom(Recorded recorded)
    {
        var start = Recorded.Time(recorded.Truth.GetProperty("start_utc"));
        var fault = recorded.Truth.GetProperty("faults").EnumerateArray().Select(f => Recorded.Time(f.GetProperty("onset_utc"))).FirstOrDefault(start.AddDays(15));
        var from = fault > start ? fault.AddHours(12) : start.AddDays(3);
        return recorded.Truth.GetProperty("runs").EnumerateArray().Select(run => Recorded.Time(run.GetProperty("off_utc")).AddMinutes(1)).First(off => off >= from);
    }

    private static IEnumerable<string> Without(IEnumerable<string> lines, DateTimeOffset from) => lines.Where(line =>
    {
        var at = DateTimeOffset.Parse(Received().Match(line).Groups[1].Value, System.Globalization.CultureInfo.InvariantCulture);
        return at < from || at >= from.AddDays(1);
    });

    private static string WithoutSump(string site)
    {
        var plan = JsonNode.Parse(site)!;
        var tanks = plan["tanks"]!.AsArray();
        tanks.Remove(tanks.Single(t => (string?)t!["id"] == "sump"));
        plan["pumps"]![0]!["from"] = null;
        foreach (var unit in plan["units"]!.AsArray())
        {
            var reports = unit!["reports"]!.AsArray();
            reports.Remove(reports.SingleOrDefault(r => (string?)r == "sump"));
        }

        return plan.ToJsonString();
    }

    private static string WithoutMiddle(string site)
    {
        var plan = JsonNode.Parse(site)!;
        plan["tanks"]!.AsArray().Single(t => (string?)t!["id"] == "roof")!["probes"]!.AsArray().RemoveAt(1);
        return plan.ToJsonString();
    }

    [GeneratedRegex("\"at\":\"[^\"]*\",")]
    private static partial Regex Clock();

    [GeneratedRegex("\"received\":\"([^\"]*)\"")]
    private static partial Regex Received();

    [GeneratedRegex("""("tank":"roof".*"wet":\[\w+,)(\w+,)(\w+\])""")]
    private static partial Regex Roof();
}
