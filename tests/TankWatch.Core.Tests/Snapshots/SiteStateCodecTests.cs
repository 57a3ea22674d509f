using System.Buffers;
using System.Buffers.Binary;
using CsCheck;
using TankWatch.Core.Balance;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Tests.Simulator;
using TankWatch.Simulator;
using TankWatch.Simulator.Faults;
using Xunit;

namespace TankWatch.Core.Tests.Snapshots;

public sealed class SiteStateCodecTests
{
    private const ulong Seed = 417;
    private const int ChecksumAt = 9;
    private const int BodyAt = 17;

    private static byte[] Bytes(SiteState state, SitePlan plan)
    {
        var output = new ArrayBufferWriter<byte>();
        SiteStateCodec.Write(state, plan, output);
        return output.WrittenSpan.ToArray();
    }

    private static readonly SitePlan Lodge = Plans.Of("""
        {
          "id": "lodge", "name": "Lodge", "timeZone": "Asia/Kolkata", "supplyHours": ["05:30-07:30"],
          "tanks": [
            { "id": "sump", "role": "sump", "capacityLitres": 6000, "probes": [
              { "name": "cut-out", "volumeLitres": 900 }, { "name": "restart", "volumeLitres": 2400 }, { "name": "full", "volumeLitres": 4200 } ] },
            { "id": "roof", "role": "overhead", "capacityLitres": 2000, "probes": [
              { "name": "low", "volumeLitres": 500 }, { "name": "mid", "volumeLitres": 1200 }, { "name": "high", "volumeLitres": 1800 } ] } ],
          "pumps": [ { "id": "p1", "from": "sump", "to": ["roof"], "ratedLitresPerMinute": 70, "ratedWatts": 560, "dryRunDetector": true } ],
          "units": [ { "id": "u1", "reports": ["roof", "p1"] }, { "id": "u2", "reports": ["sump"] } ]
        }
        """);

    public static TheoryData<FaultKind> Faults => [.. Enum.GetValues<FaultKind>()];

    public static TheoryData<string> Buildings => [.. Estate.Buildings.Select(b => b.Id)];

    [Theory]
    [MemberData(nameof(Faults))]
    public void A_faulty_site_goes_on_from_its_bytes_as_if_nothing_had_been(FaultKind fault) =>
        GoesOn(Lodge, SimulatedRecord.Of(Lodge, Seed, fault, TimeSpan.FromDays(4)), (int)fault);

    [Theory]
    [MemberData(nameof(Buildings))]
    public void A_building_of_the_estate_goes_on_from_its_bytes_as_if_nothing_had_been(string id)
    {
        var building = Estate.Buildings.Single(b => b.Id == id);
        var plan = TestSites.PlanOf(building);
        GoesOn(plan, SimulatedRecord.Of(building, plan, Seed, TimeSpan.FromDays(8), TimeSpan.FromHours(12)), 1000);
    }

    /// <summary>Walks twice: once through, and once through bytes now and then and always with the restored state.</summary>
    private static void GoesOn(SitePlan plan, List<Observation> record, int seed)
    {
        var at = new Random(seed);
        var (through, restored) = (SiteState.Start(plan), SiteState.Start(plan));
        foreach (var observation in record)
        {
            var (expected, actual) = (SiteStep.Judge(through, new Observed(observation), plan), SiteStep.Judge(restored, new Observed(observation), plan));
            Assert.Equal(Told(plan, expected), Told(plan, actual));
            (through, restored) = (expected.Next, actual.Next);
            if (at.Next(40) == 0)
            {
                var bytes = Bytes(through, plan);
                Assert.Equal(bytes, Bytes(restored, plan));
                restored = SiteStateCodec.Read(bytes, plan) ?? throw new InvalidOperationException($"seed {Seed}, at {observation.Stamp.At:u}: not read");
                Assert.Equal(bytes, Bytes(restored, plan));
            }
        }
    }

    private static string Told(SitePlan plan, Judged judged) =>
        judged.Findings.IsEmpty && judged.Runs.IsEmpty && judged.Days.IsEmpty ? ""
            : Outcome.Of(plan, judged.Findings, judged.Runs, judged.Days, judged.Next).Json();

    [Fact]
    public void Every_member_of_a_state_is_in_its_bytes()
    {
        var variants = new StateVariants(Lodge);
        foreach (var state in RichStates())
        {
            var bytes = Bytes(state, Lodge);
            foreach (var variant in variants.Of(state))
            {
                var other = Bytes(variant, Lodge);
                Assert.False(bytes.AsSpan().SequenceEqual(other), $"the same bytes although one place differs; {variants.Place}");
                if (SiteStateCodec.Read(other, Lodge) is { } read)
                {
                    Assert.Equal(other, Bytes(read, Lodge)); // Else it is a state that cannot be, and refused.
                }
            }
        }

        // A member that no state here has a value for would have gone untested.
        Assert.Equal("", string.Join(", ", StateVariants.Declared().Except(variants.Varied)));
    }

    private static IEnumerable<SiteState> RichStates()
    {
        yield return Learnt();
        var stamp = new Stamp(new("u1"), TestSites.Start, TestSites.Start.AddSeconds(1), TestSites.Start, 3, 7);
        Observation[] words =
        [
            new LevelObservation(stamp, 1, 3), new PumpObservation(stamp, 0, true, PumpCause.Level, false, 230, 2.5, 560), new InletObservation(stamp, 0, true),
            new SupplyObservation(stamp, true, 231), new StatusObservation(stamp, true, "1.4", -71, 80),
        ];
        foreach (var word in words)
        {
            var heard = SiteStep.Judge(SiteState.Start(Lodge), new Observed(word), Lodge).Next;
            var tripped = new PumpObservation(stamp with { At = stamp.At.AddMinutes(5) }, 0, false, PumpCause.UnderVoltage, false, 170, 0, 0);
            yield return heard;
            yield return SiteStep.Judge(heard, new Observed(tripped), Lodge).Next;
        }

        foreach (var fault in Enum.GetValues<FaultKind>())
        {
            var state = SiteState.Start(Lodge);
            var record = SimulatedRecord.Of(Lodge, Seed, fault, TimeSpan.FromDays(3));
            for (var i = 0; i < record.Count; i++)
            {
                state = SiteStep.Judge(state, new Observed(record[i]), Lodge).Next;
                if (i % (record.Count / 3) == record.Count / 4)
                {
                    yield return Sized(state);
                }
            }
        }
    }

    /// <summary>Three weeks of learning, with all that may have been found.</summary>
    private static SiteState Learnt()
    {
        var state = SiteState.Start(Lodge);
        foreach (var observation in SimulatedRecord.Of(Lodge, Seed, FaultKind.Leak, TimeSpan.FromDays(21)))
        {
            state = SiteStep.Judge(state, new Observed(observation), Lodge).Next;
        }

        var found = new Found(Change.Leak, TestSites.Start, TestSites.Start.AddDays(1), 20, 2, [new("leak", 0.9), new("back-drain", 0.1)], 0.1);
        var tanks = state.Timeline.Tanks;
        var roof = Lodge.FindTank("roof")!.Index;
        var balance = tanks[roof].Balance! with { Outflow = found, Delivery = found with { Change = Change.Decline }, Use = found with { Change = Change.Use } };
        Assert.NotEmpty(balance.Onsets);

        // Its supply hours are given, so none are learnt.
        var sump = Lodge.FindTank("sump")!.Index;
        tanks = tanks.SetItem(sump, tanks[sump] with { Supply = (tanks[sump].Supply ?? new()) with { Past = [new(3, 5), new(1, 2)] } });
        return state with { Timeline = state.Timeline with { Tanks = tanks.SetItem(roof, tanks[roof] with { Balance = balance }) } };
    }

    // Few findings of so short a time have a size.
    private static SiteState Sized(SiteState state) => state with
    {
        Rules = [.. state.Rules.Select(rule => rule.Open is null ? rule : rule with { Open = rule.Open with { Estimate = new("outflow", new(3, 2, 5), "L/h") } })],
    };

    [Fact]
    public void A_changed_plan_makes_a_snapshot_unusable_unless_the_change_is_nothing_to_the_judgement()
    {
        var plan = Plans.House();
        var bytes = Bytes(SiteState.Start(plan), plan);
        Assert.NotNull(SiteStateCodec.Read(bytes, Plans.House(site: """, "residents": 12, "contacts": [{ "name": "Ada" }]""")));
        Assert.Null(SiteStateCodec.Read(bytes, Plans.House(pump: """, "maxStartsPerHour": 7""")));
        Assert.Null(SiteStateCodec.Read(bytes, Plans.House(site: """, "supplyHours": ["05:30-07:30"]""")));
        Assert.Null(SiteStateCodec.Read(bytes, Plans.House(zone: "Asia/Kolkata")));
        Assert.Null(SiteStateCodec.Read(bytes, plan with { Name = "Home" }));
        Assert.Null(SiteStateCodec.Read(bytes, plan with { Tanks = plan.Tanks.SetItem(0, plan.Tanks[0] with { FireReserve = new(100) }) }));
    }

    [Fact]
    public void Any_damage_is_noticed()
    {
        var bytes = Bytes(RichStates().Last(), Lodge);
        Gen.Int[0, bytes.Length - 1].Select(Gen.Byte).Sample(
            (at, value) =>
            {
                var damaged = bytes.ToArray();
                damaged[at] = value;
                return value == bytes[at] || SiteStateCodec.Read(damaged, Lodge) is null;
            }, iter: 2000, threads: 1);
        Assert.All(Enumerable.Range(0, bytes.Length), length => Assert.Null(SiteStateCodec.Read(bytes.AsSpan(0, length), Lodge)));
    }

    [Fact]
    public void No_bytes_throw_or_ask_for_much_memory_even_with_a_checksum_that_is_right()
    {
        // Random cuts, repeats and changes of good bytes reach deep into the reader; the checksum is made right again each time.
        var good = RichStates().TakeLast(12).Select(state => Bytes(state, Lodge)).ToArray();
        Gen.Select(Gen.Int[0, good.Length - 1], Gen.Select(Gen.Int[0, 4000], Gen.Byte).Array[1, 8], Gen.Int[0, 4000], Gen.Bool).Sample(
            (which, changes, cut, isCut) =>
            {
                var bytes = good[which].ToArray();
                foreach (var (at, value) in changes)
                {
                    bytes[BodyAt + (at % (bytes.Length - BodyAt))] = value;
                }

                bytes = isCut ? bytes[..(BodyAt + (cut % (bytes.Length - BodyAt)))] : bytes;
                BinaryPrimitives.WriteUInt64LittleEndian(bytes.AsSpan(ChecksumAt), SiteStateCodec.Checksum(bytes.AsSpan(BodyAt)));
                var before = GC.GetAllocatedBytesForCurrentThread();
                _ = SiteStateCodec.Read(bytes, Lodge);
                return GC.GetAllocatedBytesForCurrentThread() - before < 200_000;
            }, iter: 20_000, threads: 1);
    }
}
