using System.Collections.Immutable;
using System.Text.Json;
using TankWatch.Simulator;
using TankWatch.Simulator.Faults;
using Xunit;

namespace TankWatch.Core.Tests.Simulator;

/// <summary>Each fault shows in the messages, or in the water, as it would in a building.</summary>
public class FaultTests
{
    private const ulong Seed = 201;
    private static readonly TimeSpan Watching = TimeSpan.FromDays(8);
    private static readonly DateTimeOffset From = TestSites.Start.AddDays(3).AddMinutes(17); // Off the hourly reports.
    private static readonly DateTimeOffset To = TestSites.Start.AddDays(5).AddMinutes(17);

    public static TheoryData<FaultKind> Kinds => [.. Enum.GetValues<FaultKind>()];

    private static readonly Dictionary<FaultKind, Func<Case>> Cases = new()
    {
        [FaultKind.ChatteringProbe] = () => new(Shows: (seen, healthy) => LevelsIn(seen, "roof") > 20 * LevelsIn(healthy, "roof")),
        [FaultKind.ProbeStuckDry] = () => new(Shows: (seen, _) => Roof(seen).All(l => l.Wet[1] == '0') && Roof(seen).Any(l => l.Wet is "101")),
        [FaultKind.ProbeStuckWet] = () => new(Shows: (seen, _) => Roof(seen).All(l => l.Wet[1] == '1') && Roof(seen).Any(l => l.Wet is "010")),
        [FaultKind.LostCommon] = () => new(Shows: (seen, _) => Roof(seen).All(l => l.Wet is "000") && seen.Truth.Balance.Overflowed > 0),
        [FaultKind.ImpossibleOrder] = () => new(Shows: (seen, _) => Roof(seen).Any(l => l.Wet is "010")),
        [FaultKind.WeakPump] = () => new(Size: 0.6, Shows: (seen, healthy) => FillSeconds(seen) > 1.4 * FillSeconds(healthy)),
        [FaultKind.PumpDecline] = () => new(Size: 0.15, Shows: (seen, healthy) => FillSeconds(seen) > 1.1 * FillSeconds(healthy)),
        [FaultKind.Leak] = () => new(Size: 80, Shows: (seen, _) => Math.Abs(seen.Truth.Balance.Leaked - (80 * 48)) < 1),
        [FaultKind.BackDrain] = () => new(Size: 90, Shows: (seen, healthy) => seen.Runs("p1").Count() > healthy.Runs("p1").Count() && SuppliedAsUsed(seen)),
        [FaultKind.HeavyUse] = () => new(Size: 2, Shows: (seen, healthy) => seen.Truth.Balance.Used - healthy.Truth.Balance.Used is > 4500 and < 9000),
        [FaultKind.SupplyMissed] = () => new(Shows: (seen, healthy) => seen.Truth.Balance.Supplied < healthy.Truth.Balance.Supplied && Sump(seen).Any(l => l.Wet is "000")),
        [FaultKind.DrySump] = () => new(Shows: (seen, _) => seen.Truth.Balance.Drained > 2000 && Sump(seen).Last().Wet is "000"),
        [FaultKind.LowVoltage] = () => new(Shows: (seen, _) => seen.Mains.Exists(m => m.Volts < 195) && !RunsDuring(seen).Any()),
        [FaultKind.HighVoltage] = () => new(Shows: (seen, _) => seen.Mains.Exists(m => m.Volts > 260) && !RunsDuring(seen).Any()),
        [FaultKind.Overload] = () => new(Shows: (seen, _) => seen.StopsFor("overload") > 3 && RunsDuring(seen).All(r => r.Seconds < 21)),
        [FaultKind.PowerCut] = () => new(Shows: (seen, _) => seen.Mains.Exists(m => !m.On && m.SentAt == From) && seen.Mains.Exists(m => m.On && m.SentAt == To) && !RunsDuring(seen).Any()),
        [FaultKind.SilentUnit] = () => new(Shows: (seen, _) => !During(seen.Levels, l => l.SentAt).Any()),
        [FaultKind.LinkLost] = () => new(Shows: (seen, _) => During(seen.Messages, m => m.SentAt).Count(m => m.Kind is "level" && m.ArrivesAt >= To) > 90),
        [FaultKind.UnitRestart] = () => new(Shows: (seen, _) => seen.Messages.Where(m => m.SentAt > From).All(m => m.PayloadJson.Contains("\"boot\":2", StringComparison.Ordinal))),
        [FaultKind.PumpWontStart] = () => new(Shows: (seen, _) => !RunsDuring(seen).Any() && Roof(seen).Last().Wet is "000"),
        [FaultKind.NoStopAtTop] = () => new(Shows: (seen, _) => seen.Truth.Balance.Overflowed > 0 && seen.Runs("p1").Any(r => r.Seconds > 3600)),
        [FaultKind.NoStopAtCutOut] = () => new(Supply: 0.5, Shows: (seen, _) => During(seen.Runs("p1"), r => r.Started).Any(r => seen.WetAt("sump", r.Started.AddSeconds(r.Seconds / 2)) is "000")),
        [FaultKind.EarlyRestart] = () => new(Supply: 1.5, Shows: (seen, _) => RunsDuring(seen).Any(r => seen.WetAt("sump", r.Started)[1] is '0')),
        [FaultKind.LeftInManual] = () => new(Shows: (seen, _) => During(seen.Pumps, p => p.SentAt).Any(p => p is { Running: true, Cause: "manual", Mode: "manual" }) && seen.Pumps[^1].Mode is "auto"),
        [FaultKind.BlockedRiser] = () => new(Shows: (seen, _) => seen.StopsFor("dry-run") > 10),
        [FaultKind.ClockWrong] = () => new(Shows: (seen, _) => During(seen.Messages, m => m.SentAt).All(m => At(m) is { Year: 1970 })),
        [FaultKind.NoClock] = () => new(Shows: (seen, _) => During(seen.Messages, m => m.SentAt).All(m => At(m) is null)),

        // [D]: the roof's level lies between its probes, so the root of its share of half depth between 0.71 and 1.34; growing 70 L/h a week for
        // two days gives 70 / 7 * 2 * 24 L.
        [FaultKind.OrificeLeak] = () => new(Size: 80, Shows: (seen, _) => seen.Truth.Balance.Leaked is > 0.8 * 80 * 48 and < 1.3 * 80 * 48),
        [FaultKind.GrowingLeak] = () => new(Size: 70, Shows: (seen, _) => Math.Abs(seen.Truth.Balance.Leaked - 480) < 1),
        [FaultKind.NightWatering] = () => new(Size: 200, Shows: (seen, healthy) => Math.Abs(seen.Truth.Balance.Used - healthy.Truth.Balance.Used - 400) < 5),
    };

    /// <param name="Shows">What is seen with the fault, against the same weeks without it.</param>
    /// <param name="Size">Null for the catalogue's.</param>
    /// <param name="Supply">Public supply, litres per minute, where the sump must run low.</param>
    private sealed record Case(Func<Watched, Watched, bool> Shows, double? Size = null, double? Supply = null);

    [Theory]
    [MemberData(nameof(Kinds))]
    public void A_fault_shows_while_it_lasts_and_not_in_a_healthy_site(FaultKind kind)
    {
        var (plan, test) = (TestSites.SumpAndRoof(detector: kind is FaultKind.BlockedRiser), Cases[kind]());
        var options = TestSites.Seeded(Seed) with
        {
            PublicSupplyLitresPerMinute = test.Supply,
            InitialLitres = ImmutableDictionary<string, double>.Empty.Add("roof", 1500),
        };
        var healthy = TestSites.Watch(plan, options, Watching);
        var seen = TestSites.Watch(plan, options, Watching, new Fault(kind, null, From, To, test.Size));

        Assert.True(test.Shows(seen, healthy), $"seed {Seed}: {kind} does not show");
        Assert.False(test.Shows(healthy, healthy), $"seed {Seed}: {kind} shows without the fault");
        Assert.Equal(Before(healthy), Before(seen)); // Nothing before its onset.
        Assert.True(Math.Abs(seen.Truth.Balance.Missing) < 0.01, $"seed {Seed}: {seen.Truth.Balance}");
    }

    [Fact]
    public void Every_kind_has_one_name_that_parses_back()
    {
        Assert.Equal(Enum.GetValues<FaultKind>(), FaultCatalogue.All.Select(e => e.Kind));
        Assert.All(FaultCatalogue.All, e => Assert.True(FaultCatalogue.TryParse(e.Name, out var kind) && kind == e.Kind, e.Name));
        Assert.False(FaultCatalogue.TryParse("no-such-fault", out _));
    }

    [Fact]
    public void A_fault_of_a_device_the_site_does_not_have_is_refused()
    {
        var site = new SimulatedSite(TestSites.SumpAndRoof(), TestSites.Seeded(Seed));

        Assert.Throws<ArgumentException>(() => site.Add(new Fault(FaultKind.Leak, "attic", TestSites.Start)));
        Assert.Throws<ArgumentException>(() => site.Add(new Fault(FaultKind.WeakPump, "roof", TestSites.Start)));
        Assert.Throws<ArgumentException>(() => site.RequestTopUp("p9", TestSites.Start));
    }

    [Fact]
    public void A_fault_added_to_a_living_site_begins_at_once()
    {
        var site = new SimulatedSite(TestSites.SumpAndRoof(), TestSites.Seeded(Seed));
        site.Advance(TestSites.Start.AddHours(5));
        site.Add(new Fault(FaultKind.LostCommon, "roof", TestSites.Start));

        Assert.Contains(site.Advance(TestSites.Start.AddHours(5).AddSeconds(1)), m => m.PayloadJson.Contains("[false,false,false]", StringComparison.Ordinal));
    }

    [Fact]
    public void Any_mix_of_faults_keeps_every_litre_and_every_message_readable()
    {
        for (var mix = 0; mix < 96; mix++)
        {
            var building = Estate.Buildings[mix % Estate.Buildings.Length];
            var site = new SimulatedSite(TestSites.PlanOf(building), TestSites.Seeded(Seed + (ulong)mix) with
            {
                UnitsHaveBattery = mix % 3 > 0,
                BacklogAsArrays = mix % 2 > 0,
            });
            for (var i = 0; i < 6; i++)
            {
                var kind = (FaultKind)((mix + (i * (5 + (mix / 27)))) % FaultCatalogue.All.Length);
                var from = TestSites.Start.AddHours((7 * i) + (mix % 5));
                site.Add(new Fault(kind, null, from, from.AddHours(9 + (mix % 7))));
            }

            var seen = new Watched(site.Advance(TestSites.Start.AddDays(3)), site.Truth);
            Assert.True(Math.Abs(seen.Truth.Balance.Missing) < 0.01, $"mix {mix} of {building.Id}: {seen.Truth.Balance}");
            Assert.All(site.Plan.Tanks, t => Assert.InRange(seen.Truth.TankLitres[t.Id.Value], -0.1, t.Capacity.Value + 0.1));
            Assert.True(seen.Messages.Count < 60_000, $"mix {mix} of {building.Id}: {seen.Messages.Count} messages");
        }
    }

    private static IEnumerable<SeenLevel> Roof(Watched seen) => During(seen.Levels, l => l.SentAt).Where(l => l.Tank is "roof");

    private static IEnumerable<SeenLevel> Sump(Watched seen) => During(seen.Levels, l => l.SentAt).Where(l => l.Tank is "sump");

    private static int LevelsIn(Watched seen, string tank) => During(seen.Levels, l => l.SentAt).Count(l => l.Tank == tank);

    private static IEnumerable<SeenRun> RunsDuring(Watched seen) => During(seen.Runs("p1"), r => r.Started).Where(r => r.Stopped < To);

    /// <summary>Median of the fills that end within the fault's second day.</summary>
    private static double FillSeconds(Watched seen)
    {
        var fills = RunsDuring(seen).Where(r => r.Started > From.AddDays(0.5)).Select(r => r.Seconds).Order().ToList();
        return fills[fills.Count / 2];
    }

    /// <summary>Water that runs back is not lost: it needs no more from the public supply.</summary>
    private static bool SuppliedAsUsed(Watched seen) => seen.Truth.Balance is var b && Math.Abs(b.Supplied - b.Used - (b.Stored - b.StoredAtStart)) < 1;

    private static IEnumerable<T> During<T>(IEnumerable<T> seen, Func<T, DateTimeOffset> at) => seen.Where(s => at(s) >= From && at(s) < To);

    private static IEnumerable<string> Before(Watched seen) => seen.Messages.Where(m => m.SentAt < From).Select(m => m.PayloadJson);

    private static DateTimeOffset? At(SimulatedMessage message) =>
        JsonDocument.Parse(message.PayloadJson).RootElement.TryGetProperty("at", out var at) ? at.GetDateTimeOffset() : null;
}
