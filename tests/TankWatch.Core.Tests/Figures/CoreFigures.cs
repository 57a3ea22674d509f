using System.Buffers;
using System.Diagnostics;
using System.Globalization;
using TankWatch.Core.Observations;
using TankWatch.Core.Replaying;
using TankWatch.Core.Sites;
using TankWatch.Core.Snapshots;
using TankWatch.Core.Tests.Replaying;
using TankWatch.Core.Tests.Simulator;
using TankWatch.Simulator;
using Xunit;

namespace TankWatch.Core.Tests.Figures;

/// <summary>What the judgement costs, for people to read. Each is run by name, alone, with <c>-explicit only</c>, on a machine at rest.</summary>
public sealed class CoreFigures
{
    private const ulong Seed = 417;

    private static void Say(FormattableString line) =>
        TestContext.Current.TestOutputHelper!.WriteLine(line.ToString(CultureInfo.InvariantCulture));

    private static (EstateBuilding Building, SitePlan Plan, List<Observation> Record)[] Lived(TimeSpan history) =>
        [.. Estate.Buildings.Select(b => (b, TestSites.PlanOf(b))).Select(b => (b.b, b.Item2, SimulatedRecord.Of(b.b, b.Item2, Seed, history, TimeSpan.FromHours(6))))];

    [Fact(Explicit = true)]
    public void Judging_one_observation()
    {
        var recorded = Recorded.Names.Select(Recorded.Of).Select(r => (r.Plan, Ordered: Ordered(r))).ToArray();
        var count = recorded.Sum(r => r.Ordered.Count);
        var rounds = new List<(double Microseconds, double Bytes)>();
        for (var round = 0; round < 15; round++)
        {
            var (began, allocated) = (Stopwatch.GetTimestamp(), GC.GetAllocatedBytesForCurrentThread());
            foreach (var (plan, ordered) in recorded)
            {
                var state = SiteState.Start(plan);
                foreach (var observation in ordered)
                {
                    state = SiteStep.Judge(state, new Observed(observation), plan).Next;
                }
            }

            rounds.Add((Stopwatch.GetElapsedTime(began).TotalMicroseconds / count, (GC.GetAllocatedBytesForCurrentThread() - allocated) / (double)count));
        }

        Say($"judging: {Median(rounds.Skip(5).Select(r => r.Microseconds)):0.00} us and {rounds[^1].Bytes:0} bytes allocated an observation; {count} observations, median of {rounds.Count - 5} rounds");
    }

    [Fact(Explicit = true)]
    public void A_snapshot()
    {
        var lived = Lived(TimeSpan.FromDays(30));
        foreach (var (building, plan, record) in lived.Concat(lived)) // The first round warms up.
        {
            var state = record.Aggregate(SiteState.Start(plan), (s, o) => SiteStep.Judge(s, new Observed(o), plan).Next);
            var output = new ArrayBufferWriter<byte>();
            SiteStateCodec.Write(state, plan, output);
            var bytes = output.WrittenSpan.ToArray();
            var write = Median(Enumerable.Range(0, 15).Select(round => Time(() =>
            {
                output.ResetWrittenCount();
                SiteStateCodec.Write(state, plan, output);
            })));
            var read = Median(Enumerable.Range(0, 15).Select(round => Time(() => _ = SiteStateCodec.Read(bytes, plan))));
            Say($"snapshot of {building.Id} after 30 days, {state.OpenFindings.Count()} findings open: {bytes.Length} bytes, {write:0.0} us to write, {read:0.0} us to read");
        }

        static double Time(Action act)
        {
            const int Times = 500;
            var began = Stopwatch.GetTimestamp();
            for (var i = 0; i < Times; i++)
            {
                act();
            }

            return Stopwatch.GetElapsedTime(began).TotalMicroseconds / Times;
        }
    }

    [Theory(Explicit = true)]
    [InlineData(1)]
    [InlineData(30)]
    public void Memory_of_a_site(int days)
    {
        const int Sites = 5000;
        var lived = Lived(TimeSpan.FromDays(days));
        var held = new (SitePlan Plan, SiteFollower Follower)[Sites];
        var before = GC.GetTotalMemory(forceFullCollection: true);
        for (var i = 0; i < Sites; i++)
        {
            var (building, _, record) = lived[i % lived.Length];
            var plan = Plans.Of(building.SiteFile);
            var follower = new SiteFollower(plan);
            var own = new MemoryRecord(plan);
            foreach (var observation in record)
            {
                follower.Take([observation], own);
            }

            held[i] = (plan, follower);
        }

        var each = (GC.GetTotalMemory(forceFullCollection: true) - before) / Sites;
        Say($"memory: {each} bytes a site, of its plan, follower and state, after {days} days; mean of {Sites} sites");
        GC.KeepAlive(held);
    }

    private static List<Observation> Ordered(Recorded recorded)
    {
        var recording = new Recording(recorded.Plan);
        foreach (var line in recorded.Lines)
        {
            recording.Add(line);
        }

        return [.. recording.Observations.Order(Observation.Order)];
    }

    private static double Median(IEnumerable<double> values) => values.Order().ElementAt(values.Count() / 2);
}
