using System.Text.RegularExpressions;
using TankWatch.Core.Findings;
using TankWatch.Core.Timelines;
using Xunit;

namespace TankWatch.Core.Tests.Findings;

/// <summary>What people are told: evidence, advice, cautions, and never anything that could hurt them (CHECKS L; DESIGN, Safety).</summary>
public sealed class FindingTextTests
{
    private static readonly Lazy<List<Finding>> All = new(() => [.. Days().SelectMany(day => day.Findings), Silent()]);

    /// <summary>Days that between them raise every kind that a rule can raise, in each of its forms.</summary>
    internal static IEnumerable<Outcome> Days()
    {
        Scenario House() => Scenario.Of(Plans.House()).At("05:00").Mains(true).Tank("sump", "111").Tank("roof", "100").Stop();
        foreach (var cause in new[] { "under-voltage", "over-voltage", "overload", "dry-run", "power", "sump-low", "level" })
        {
            yield return House().Times(8, d => d.After(4).Start().After(1).Stop(cause: cause)).At("07:00").Tank("roof", "000").Until("09:00");
        }

        yield return House().At("06:00").Tank("roof", "000").Until("09:00");
        yield return House().At("06:00").Tank("roof", "000").Mains(false).Until("09:00");
        yield return House().At("06:00").Tank("roof", "000").Start().Until("23:00");
        yield return House().At("06:00").Start().After(5).Tank("roof", "110").After(5).Tank("roof", "111").Until("09:00");
        yield return House().At("06:00").Start(cause: "manual", mode: "manual").After(5).Tank("roof", "110").After(5).Tank("roof", "111").Until("09:00");
        yield return House().At("06:00").Start().Tank("sump", "110").Tank("sump", "100").After(5).Tank("sump", "000").After(5).Stop(cause: "sump-low").After(5).Start().Until("12:00");
        yield return House().At("06:00").Tank("sump", "110").Tank("sump", "100").Until("1d 00:00");
        yield return House().At("06:00").Tank("roof", "101").Until("09:00");
        yield return House().At("06:00").Tank("roof", "110").Tank("roof", "000").Until("09:00");
        yield return House().Times(10, d => d.After(0.5).Tank("roof", "110").After(0.5).Tank("roof", "100")).Until("09:00");
        yield return House().Times(2, d => d.After(40).Tank("roof", "101").After(seconds: 20).Tank("roof", "100").After(40).Tank("roof", "000").After(seconds: 20).Tank("roof", "100")).Until("09:00");
        var slow = Scenario.Of(Plans.Bore([300, 1200])).At("00:00").Tank("roof", "10").Stop();
        for (var i = 0; i < 12; i++)
        {
            slow.Tank("roof", "00").Start().After(seconds: 2).Tank("roof", "10").After(i < 8 ? 20 : 40).Tank("roof", "11").Stop().After(20).Tank("roof", "10").After(100);
        }

        yield return slow.Until("2d 00:00");
    }

    internal static Finding Silent()
    {
        var plan = Plans.House();
        return Assert.Single(LinkStep.Tick(LinkState.Start(plan, Scenario.Midnight), Scenario.TimeOf("06:00"), plan).Changes.Findings);
    }

    private static IEnumerable<string> Asks(Finding finding) => finding.Said().Advice.Append(finding.Said().Summary).Concat(finding.Said().Evidence);

    [Fact]
    public void These_days_raise_every_kind_that_there_is_a_rule_for() => Assert.Equal(
        [
            FindingKind.ShortCycling, FindingKind.SlowFill, FindingKind.RepeatedDryTrips, FindingKind.RunTooLong, FindingKind.OverflowRisk, FindingKind.RunningOut, FindingKind.LowSupply,
            FindingKind.ProbeFault, FindingKind.VoltageTrips, FindingKind.OverloadTrips, FindingKind.NoStart, FindingKind.ControlFault, FindingKind.LeftInManual, FindingKind.UnitSilent,
            FindingKind.PowerFailure,
        ],
        All.Value.Select(f => f.Kind).Distinct().Order());

    [Fact]
    public void Every_form_of_probe_fault_and_of_control_fault_is_among_them()
    {
        Assert.Equal(["chattering-probe", "impossible-order", "lost-common", "stuck-probe"], All.Value.Where(f => f.Kind == FindingKind.ProbeFault).Select(f => f.Causes.Single().Name).Distinct().Order(StringComparer.Ordinal));
        Assert.Equal(3, All.Value.Where(f => f.Kind == FindingKind.ControlFault).Select(f => f.Said().Summary).Distinct().Count());
    }

    [Fact]
    public void Each_says_what_was_seen_what_to_check_and_what_can_hurt() => Assert.All(All.Value, f =>
    {
        Assert.NotEmpty(f.Said().Evidence);
        Assert.NotEmpty(f.Said().Advice);
        Assert.NotEmpty(f.Said().Cautions);
        Assert.EndsWith(".", f.Said().Summary, StringComparison.Ordinal);
        Assert.All(Asks(f).Concat(f.Said().Cautions), line => Assert.DoesNotMatch(@"[\r\n{}]|  |\bNaN\b|∞", line));
    });

    [Fact]
    public void Nobody_is_asked_for_what_could_hurt_them() => Assert.All(
        All.Value.SelectMany(Asks), line => Assert.DoesNotMatch(
            new Regex(@"\breset\b|try again|dry.?run it|run it dry|\bby-?pass\b|climb in|lean (in|over)|enter the|get in(to)? |reach in|open the (starter|panel)|raise the voltage|adjust the voltage|touch the (pump|probe|wir)", RegexOptions.IgnoreCase), line));

    [Fact]
    public void The_cautions_forbid_leaning_in_and_touching_live_parts()
    {
        Assert.All(All.Value.SelectMany(f => f.Said().Cautions).Where(c => c.Contains("lean into", StringComparison.Ordinal)), c => Assert.Contains("do not lean into", c, StringComparison.Ordinal));
        Assert.Contains(All.Value.SelectMany(f => f.Said().Cautions), c => c.Contains("do not enter it", StringComparison.Ordinal));

        // Whatever sends someone to a pump or its wiring says that it can start by itself.
        Assert.All(
            All.Value.Where(f => f.Device.Value == "p1"), f => Assert.Contains(f.Said().Cautions, c => c.Contains("can start at any moment", StringComparison.Ordinal)));
        Assert.All(
            All.Value.Where(f => f.Kind is FindingKind.LowSupply or FindingKind.ProbeFault or FindingKind.RunningOut), f => Assert.Contains(f.Said().Cautions, c => c.Contains("confined space", StringComparison.Ordinal)));
    }

    [Fact]
    public void Causes_are_probabilities() => Assert.All(All.Value, f => Assert.InRange(f.Causes.Sum(c => c.Probability), 0, 1));
}
