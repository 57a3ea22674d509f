using System.Globalization;
using System.Text.Json;
using TankWatch.Simulator;
using TankWatch.Simulator.Faults;
using Xunit;

namespace TankWatch.Core.Tests.Simulator;

/// <summary>How messages are stamped, delayed, kept and repeated.</summary>
public class UnitTests
{
    private static readonly DateTimeOffset LostFrom = TestSites.Start.AddHours(10);
    private static readonly DateTimeOffset LostTo = TestSites.Start.AddHours(20);

    public static TheoryData<string> Buildings => [.. Estate.Buildings.Select(b => b.Id)];

    [Theory]
    [MemberData(nameof(Buildings))]
    public void Boot_and_seq_rise_strictly_with_every_message_of_a_unit(string id)
    {
        const ulong Seed = 101;
        var site = TestSites.Begin(Estate.Buildings.Single(b => b.Id == id), Seed, history: TimeSpan.FromDays(3));
        var stamps = site.Advance(TestSites.Start.AddDays(4))
            .SelectMany(m => Watched.Bodies(m).Select(b => (m.Unit, b.Body)))
            .Where(b => b.Body.TryGetProperty("seq", out _))
            .GroupBy(b => b.Unit, b => (Boot: b.Body.GetProperty("boot").GetInt64(), Seq: b.Body.GetProperty("seq").GetInt64()));

        foreach (var unit in stamps)
        {
            Assert.Equal(0, unit.Min(s => s.Seq));
            Assert.True(unit.Distinct().Count() == unit.Count(), $"seed {Seed}: {unit.Key} repeats a stamp");
            foreach (var boot in unit.GroupBy(s => s.Boot).Where(_ => !HasLinkFault(id)))
            {
                Assert.Equal(boot.Order(), boot); // In order of arrival.
                Assert.Equal(boot.Count() - 1, boot.Max(s => s.Seq)); // Without a gap.
            }
        }
    }

    [Fact]
    public void Every_tank_is_told_of_at_least_hourly_and_a_month_arrives_within_half_a_second()
    {
        var seen = TestSites.Watch(TestSites.SumpAndRoof(), TestSites.Seeded(102), TimeSpan.FromDays(30));

        Assert.All(seen.Levels.GroupBy(l => l.Tank), tank =>
            Assert.All(tank.Zip(tank.Skip(1)), p => Assert.True(p.Second.SentAt - p.First.SentAt <= TimeSpan.FromHours(1))));
        Assert.All(seen.Messages, m => Assert.InRange(m.ArrivesAt - m.SentAt, TimeSpan.Zero, TimeSpan.FromSeconds(0.6)));
        Assert.Equal(seen.Messages.OrderBy(m => m.ArrivesAt), seen.Messages);
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void A_lost_link_brings_everything_later_with_its_own_times(bool arrays)
    {
        var plan = TestSites.SumpAndRoof();
        var options = TestSites.Seeded(103) with { BacklogAsArrays = arrays };
        var whole = TestSites.Watch(plan, options, TimeSpan.FromDays(1));
        var broken = TestSites.Watch(plan, options, TimeSpan.FromDays(1), new Fault(FaultKind.LinkLost, "u1", LostFrom, LostTo));

        Assert.Equal(Facts(whole), Facts(broken));
        var late = broken.Messages.Where(m => m.Kind is not "status" && m.SentAt >= LostFrom && m.SentAt < LostTo).ToList();
        Assert.All(late, m => Assert.InRange(m.ArrivesAt, LostTo, LostTo.AddMinutes(1)));
        Assert.Equal(arrays, late.Exists(m => m.PayloadJson.StartsWith('[')));
        Assert.Contains(broken.Messages, m => m is { Kind: "status", Retained: true, PayloadJson: """{"online":false,"boot":1}""" } && m.ArrivesAt == LostFrom.AddSeconds(90));

        static IEnumerable<string> Facts(Watched seen) => seen.Messages.SelectMany(Watched.Bodies).Where(b => b.Kind is not "status")
            .Select(b => $"{b.Kind} {b.Body.GetProperty("at")} {(b.Body.TryGetProperty("wet", out var wet) ? wet : b.Body)}".Split("\"seq\"")[0])
            .Order(StringComparer.Ordinal);
    }

    [Fact]
    public void A_silent_unit_loses_what_it_says_and_shows_a_gap()
    {
        var seen = TestSites.Watch(
            TestSites.SumpAndRoof(), TestSites.Seeded(104), TimeSpan.FromDays(1), new Fault(FaultKind.SilentUnit, "u1", LostFrom, LostTo));

        Assert.DoesNotContain(seen.Messages, m => m.SentAt >= LostFrom && m.SentAt < LostTo && !m.PayloadJson.Contains("false,\"boot\"", StringComparison.Ordinal));
        Assert.Contains(seen.Levels, l => l.SentAt == LostTo); // The present state is told on connecting.
        var seqs = seen.Messages.SelectMany(Watched.Bodies).Where(b => b.Body.TryGetProperty("seq", out _)).Select(b => b.Body.GetProperty("seq").GetInt64()).ToList();
        Assert.True(seqs.Max() > seqs.Count, "no gap");
    }

    [Fact]
    public void Duplicates_are_the_same_bytes_a_little_later()
    {
        var seen = TestSites.Watch(TestSites.SumpAndRoof(), TestSites.Seeded(105) with { DuplicateShare = 0.3 }, TimeSpan.FromDays(3));
        var groups = seen.Messages.GroupBy(m => (m.Topic, m.PayloadJson)).ToList();

        Assert.InRange(groups.Count(g => g.Count() == 2) / (double)groups.Count, 0.2, 0.4);
        Assert.DoesNotContain(groups, g => g.Count() > 2);
    }

    [Fact]
    public void A_drifting_clock_shows_in_at_and_not_in_arrival()
    {
        var options = TestSites.Seeded(106) with { ClockOffset = TimeSpan.FromSeconds(3), ClockDriftPerMillion = 50 };
        var last = TestSites.Watch(TestSites.SumpAndRoof(), options, TimeSpan.FromDays(10)).Messages[^1];
        var at = JsonDocument.Parse(last.PayloadJson).RootElement.GetProperty("at").GetDateTimeOffset();

        Assert.Equal(3 + (50e-6 * (last.SentAt - TestSites.Start).TotalSeconds), (at - last.SentAt).TotalSeconds, tolerance: 0.01);
    }

    [Fact]
    public void Units_without_a_battery_gasp_fall_silent_and_start_anew()
    {
        var plan = TestSites.SumpAndRoof();
        var options = TestSites.Seeded(107) with { UnitsHaveBattery = false, TopUps = [new TopUpRequest("p1", LostFrom.AddMinutes(-1))] };
        var seen = TestSites.Watch(plan, options, TimeSpan.FromDays(1), new Fault(FaultKind.PowerCut, null, LostFrom, LostTo));

        Assert.Contains(seen.Mains, m => !m.On && m.SentAt == LostFrom);
        Assert.Contains(seen.Pumps, p => p is { Running: false, Cause: "power" } && p.SentAt == LostFrom);
        Assert.DoesNotContain(seen.Levels, l => l.SentAt > LostFrom && l.SentAt < LostTo);
        var first = seen.Messages.First(m => m.SentAt >= LostTo);
        Assert.Contains("\"boot\":2,\"seq\":0,\"online\":true", first.PayloadJson, StringComparison.Ordinal);
    }

    [Fact]
    public void A_recording_has_one_line_a_message_in_order_of_arrival()
    {
        var seen = TestSites.Watch(TestSites.SumpAndRoof(), TestSites.Seeded(108), TimeSpan.FromDays(2));
        using var text = new StringWriter();
        var lines = Recordings.Write(seen.Messages.Reverse(), text);
        var read = text.ToString().Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(l => JsonDocument.Parse(l).RootElement).ToList();

        Assert.Equal(seen.Messages.Count, lines);
        Assert.Equal(lines, read.Count);
        Assert.All(read.Zip(read.Skip(1)), p => Assert.True(Received(p.First) <= Received(p.Second)));
        Assert.All(read, l => Assert.StartsWith("tankwatch/v1/u1/", l.GetProperty("topic").GetString(), StringComparison.Ordinal));

        static DateTimeOffset Received(JsonElement line) => DateTimeOffset.Parse(line.GetProperty("received").GetString()!, CultureInfo.InvariantCulture);
    }

    private static bool HasLinkFault(string id) => Estate.Buildings.Single(b => b.Id == id) is var b
        && b.History.Concat(b.Live).Any(f => f.Kind is FaultKind.LinkLost or FaultKind.SilentUnit);
}
