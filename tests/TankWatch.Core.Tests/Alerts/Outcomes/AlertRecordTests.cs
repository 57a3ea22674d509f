using TankWatch.Core.Alerts;
using TankWatch.Core.Alerts.Outcomes;
using TankWatch.Core.Balance;
using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Alerts.Outcomes;

public sealed class AlertRecordTests
{
    [Theory]
    [InlineData(FindingKind.SlowFill, "weak-pump", FindingOutcome.Right)] // Whatever made it slow, it was slow.
    [InlineData(FindingKind.SlowFill, "heavy-use", FindingOutcome.Right)]
    [InlineData(FindingKind.SlowFill, "slow-fill", FindingOutcome.Right)]
    [InlineData(FindingKind.SlowFill, "nothing-wrong", FindingOutcome.Wrong)]
    [InlineData(FindingKind.SlowFill, "probe-fault", FindingOutcome.Wrong)]
    [InlineData(FindingKind.Leak, "leak", FindingOutcome.Right)]
    [InlineData(FindingKind.Leak, "growing-leak", FindingOutcome.Right)]
    [InlineData(FindingKind.Leak, "heavy-use", FindingOutcome.Wrong)] // Weighed, but another kind's.
    [InlineData(FindingKind.Leak, "back-drain", FindingOutcome.Wrong)]
    [InlineData(FindingKind.WeakPump, "leak", FindingOutcome.Wrong)]
    [InlineData(FindingKind.ProbeFault, "stuck-probe", FindingOutcome.Right)]
    [InlineData(FindingKind.UnitSilent, "power-failure", FindingOutcome.Right)]
    [InlineData(FindingKind.OverflowRisk, "probe-fault", FindingOutcome.Wrong)]
    [InlineData(FindingKind.Leak, "undetermined", FindingOutcome.Unsaid)]
    [InlineData(FindingKind.Leak, "Leak", FindingOutcome.Unsaid)] // A name is a name.
    [InlineData(FindingKind.Leak, "a cracked ball valve", FindingOutcome.Unsaid)]
    [InlineData(FindingKind.Leak, "", FindingOutcome.Unsaid)]
    public void A_cause_found_says_whether_the_kind_was_right(FindingKind kind, string found, FindingOutcome outcome) => Assert.Equal(outcome, FoundCauses.Judge(kind, found));

    [Fact]
    public void Every_cause_that_a_rule_can_weigh_has_a_name_that_counts()
    {
        Assert.Empty(Enum.GetValues<Change>().Select(BalanceChanges.NameOf).Except(FoundCauses.All));
        Assert.Empty(((string[])["low-voltage", "supply", "chattering-probe", "probes-too-close", "lost-common", "stuck-probe", "impossible-order"]).Except(FoundCauses.All));
        Assert.Equal(FoundCauses.All.Count, FoundCauses.All.Distinct().Count());
        Assert.All(Enum.GetValues<FindingKind>(), kind => Assert.DoesNotContain(FindingNames.Of(kind), FoundCauses.Explaining(kind)));
        Assert.DoesNotContain("undetermined", FoundCauses.All);
    }

    [Fact]
    public void Each_kind_is_counted_for_itself_and_words_alone_are_not_held_against_it()
    {
        var record = AlertRecord.Of(
        [
            Closed(FindingKind.Leak, "leak"), Closed(FindingKind.Leak, "nothing-wrong"), Closed(FindingKind.Leak, "the ball valve"), Closed(FindingKind.Leak, null),
            Closed(FindingKind.UnitSilent, "unit-silent"),
        ]);
        var leak = record.Kinds[FindingKind.Leak];
        Assert.Equal((3, 1, 1, 1), (leak.Closed, leak.Right.Hits, leak.Wrong, leak.Unsaid));
        Assert.Equal([FindingKind.Leak, FindingKind.UnitSilent], record.Kinds.Keys);
        Assert.Equal((4, 2, 1, 1), (record.Total.Closed, record.Total.Right.Hits, record.Total.Wrong, record.Total.Unsaid));
    }

    [Fact]
    public void Probabilities_of_causes_are_scored_one_by_one()
    {
        var record = AlertRecord.Of(
        [
            Closed(FindingKind.SlowFill, "weak-pump", ("weak-pump", 0.9), ("leak", 0.1)), // 0.01 + 0.01
            Closed(FindingKind.SlowFill, "leak", ("weak-pump", 0.8), ("undetermined", 0.2)), // 0.64; undetermined says nothing.
            Closed(FindingKind.SlowFill, "nothing-wrong", ("undetermined", 0.5), ("leak", 0.5)), // 0.25
            Closed(FindingKind.SlowFill, "slow-fill", ("weak-pump", 0.9)), // Nobody found out why.
            Closed(FindingKind.SlowFill, "the valve", ("weak-pump", 0.9)),
        ]).Kinds[FindingKind.SlowFill];
        Assert.Equal((4, 1, 2), (record.Causes.Said, record.Causes.Sure.Hits, record.Causes.Sure.Of));
        Assert.Equal((0.01 + 0.01 + 0.64 + 0.25) / 4, record.Causes.Brier!.Value, 1e-12);
    }

    [Fact]
    public void A_kind_that_names_the_cause_itself_is_scored_by_its_own_name()
    {
        var record = AlertRecord.Of([Closed(FindingKind.Leak, "leak", ("leak", 0.94), ("heavy-use", 0.04))]).Total.Causes;
        Assert.Equal((2, 1, 1), (record.Said, record.Sure.Hits, record.Sure.Of));
        Assert.Equal(((0.06 * 0.06) + (0.04 * 0.04)) / 2, record.Brier!.Value, 1e-12);
    }

    [Fact]
    public void Without_an_occasion_there_is_no_share_and_no_score()
    {
        var total = AlertRecord.Of([]).Total;
        Assert.Equal((null, null, null), (total.Right.Share, total.Causes.Sure.Share, total.Causes.Brier));
    }

    // Newcombe, Stat. Med. 17 (1998) 857, 95 % (CHECKS G10 [M, recomputed equal]).
    [Theory]
    [InlineData(81, 263, 0.2553, 0.3662)]
    [InlineData(15, 148, 0.0624, 0.1605)]
    [InlineData(0, 20, 0, 0.1611)]
    [InlineData(1, 29, 0.0061, 0.1718)]
    public void The_interval_of_a_share_is_Wilsons(int hits, int of, double low, double high)
    {
        var share = Tally.Wilson(hits, of, 1.959964);
        Assert.Equal((low, high), (Math.Round(share.Low, 4), Math.Round(share.High, 4)));
    }

    [Fact]
    public void Its_ends_are_those_of_nine_times_in_ten()
    {
        // [D] (p - low)^2 = z^2 low (1 - low) / n at both ends, with z for 5 % on each side.
        var share = new Tally(7, 10).Share!.Value;
        Assert.All((double[])[share.Low, share.High], end => Assert.Equal(1.644854 * 1.644854 * end * (1 - end) / 10, (0.7 - end) * (0.7 - end), 1e-9));
        Assert.Equal(0.7, share.Value);
    }

    private static Alert Closed(FindingKind kind, string? found, params (string Name, double Probability)[] causes)
    {
        var at = Scenario.Midnight;
        var finding = Desk.Found("05:00", kind: kind) with { Causes = [.. causes.Select(cause => new WeighedCause(cause.Name, cause.Probability))] };
        return new("a", new("house"), finding, AlertState.Normal, at, at, null, null, null, null, at, [], found, 3);
    }
}
