using CsCheck;
using TankWatch.Core.Observations;
using TankWatch.Core.Sites;
using Xunit;

namespace TankWatch.Core.Tests.Timelines;

/// <summary>What a site comes to depends on the set of its messages: CsCheck prints the seed of a case that fails.</summary>
public sealed class SiteFollowerTests
{
    private const int Hours = 30;
    private static readonly DateTimeOffset End = Scenario.Midnight.AddHours(Hours + 8);

    private static readonly SitePlan Plan = Plans.Of("""
        {
          "id": "two", "name": "Two", "timeZone": "Asia/Kolkata",
          "tanks": [
            { "id": "sump", "role": "sump", "capacityLitres": 4000, "probes": [
              { "name": "cut-out", "volumeLitres": 500 }, { "name": "restart", "volumeLitres": 1600 }, { "name": "full", "volumeLitres": 3000 } ] },
            { "id": "roof", "role": "overhead", "capacityLitres": 1000, "probes": [
              { "name": "low", "volumeLitres": 300 }, { "name": "mid", "volumeLitres": 600 }, { "name": "high", "volumeLitres": 900 } ] } ],
          "pumps": [ { "id": "p1", "from": "sump", "to": ["roof"], "ratedLitresPerMinute": 60, "ratedWatts": 500 },
                     { "id": "p2", "from": "sump", "to": ["roof"] } ],
          "units": [ { "id": "u1", "reports": ["roof", "p1"] }, { "id": "u2", "reports": ["sump", "p2"] } ]
        }
        """);

    // Orders that a surface makes come more often than those that a fault makes.
    private static readonly int[] Wets = [0, 1, 3, 7, 1, 3, 7, 0, 1, 3, 7, 5, 2];

    private static readonly Gen<(int Second, int Kind, int State)> Event = Gen.Select(Gen.Int[0, Hours * 3600], Gen.Int[0, 9], Gen.Int[0, 1000]);

    private static readonly Gen<List<Observation>> Observed = Event.Array[1, 220].Select(Record);

    private static List<Observation> Record((int Second, int Kind, int State)[] events) => [.. events
        .Select(e => e with { Second = e.State % 3 == 0 ? e.Second - (e.Second % 600) : e.Second }) // Some at one and the same moment.
        .OrderBy(e => e.Second).Select((e, i) => Of(e, i)).Order(Observation.Order)];

    private static Observation Of((int Second, int Kind, int State) e, int seq)
    {
        var at = Scenario.Midnight.AddSeconds(e.Second);
        var (first, second) = (Stamp("u1"), Stamp("u2"));
        var running = e.State % 2 == 0;
        var cause = (PumpCause)(e.State % 10);
        return e.Kind switch
        {
            < 4 => new LevelObservation(first, 1, Wets[e.State % Wets.Length]),
            4 => new LevelObservation(second, 0, Wets[e.State % Wets.Length]),
            < 8 => new PumpObservation(e.Kind == 7 ? second : first, e.Kind == 7 ? 1 : 0, running, cause, e.State % 11 == 0, null, null, null),
            8 => new SupplyObservation(second, running, null),
            _ => new StatusObservation(first, true, null, null, null),
        };

        Stamp Stamp(string unit) => new(new(unit), at, at, at, 1, seq);
    }

    /// <summary>An order of arrival, where it is cut into batches, and how far time is thought to have passed before each.</summary>
    private static readonly Gen<(List<Observation> Ordered, Observation[] Arrival, int[] Cuts, int[] Ticks)> Arrivals =
        from ordered in Observed
        from arrival in Gen.Shuffle(ordered.ToArray())
        from cuts in Gen.Int[1, 25].Array[1, 12]
        from ticks in Gen.Int[-Hours * 60, Hours * 60].Array[12]
        select (ordered, arrival, cuts, ticks);

    private static Outcome Follow(Observation[] arrival, int[] cuts, int[] ticks)
    {
        var site = new FollowedSite(Plan);
        for (var (from, i) = (0, 0); from < arrival.Length; i++)
        {
            if (ticks[i % ticks.Length] is > 0 and var minute)
            {
                site.Tick(Scenario.Midnight.AddMinutes(minute));
            }

            var size = Math.Min(cuts[i % cuts.Length], arrival.Length - from);
            site.Take(arrival[from..(from + size)]);
            from += size;
        }

        site.Tick(End);
        return site.Outcome();
    }

    /// <summary>Names the first line that differs.</summary>
    private static void Same(Outcome expected, Outcome actual)
    {
        var (left, right) = (expected.Json().Split('\n'), actual.Json().Split('\n'));
        var at = Enumerable.Range(0, Math.Max(left.Length, right.Length)).FirstOrDefault(i => left.ElementAtOrDefault(i) != right.ElementAtOrDefault(i), -1);
        Assert.True(at < 0, $"line {at}:\n{string.Join('\n', left.Skip(at - 6).Take(12))}\nbut\n{string.Join('\n', right.Skip(at - 6).Take(12))}");
    }

    [Fact]
    public void Any_order_any_batches_and_any_ticks_give_what_the_ordered_walk_gives() => Arrivals.Sample(
        a => Same(Outcome.Of(Plan, a.Ordered, End), Follow(a.Arrival, a.Cuts, a.Ticks)),
        iter: 150, threads: 1, print: a => $"{a.Ordered.Count} observations");

    /// <summary>
    /// A day that is more than a short way: everything shuffled, or each word late by up to 20 s and those of one unit held back for
    /// hours, as a broken link does it. Between the batches time passes, slices are worked, states are stored, the process starts anew.
    /// </summary>
    private static readonly Gen<(List<Observation> Ordered, Observation[] Arrival, (int Size, int Act, int Amount)[] Steps)> BusyDays =
        from events in Event.Array[500, 1500]
        from isShuffled in Gen.Frequency((1, Gen.Const(true)), (3, Gen.Const(false)))
        from jitter in Gen.Int[0, 20].Array[1500]
        from held in Gen.Select(Gen.Int[0, 20 * 3600], Gen.Int[4 * 3600, 12 * 3600])
        from order in Gen.Shuffle(Enumerable.Range(0, events.Length).ToArray())
        from steps in Gen.Select(Gen.Int[1, 40], Gen.Int[0, 9], Gen.Int[1, 500]).Array[1, 40]
        let ordered = Record(events)
        select (ordered, Arriving(ordered, isShuffled, jitter, held.Item1, held.Item1 + held.Item2, order), steps);

    private static Observation[] Arriving(List<Observation> ordered, bool isShuffled, int[] jitter, int heldFrom, int heldTo, int[] order) =>
        isShuffled ? [.. order.Select(i => ordered[i])]
            : [.. ordered.Select((o, i) => (o, At: (o.Stamp.At - Scenario.Midnight).TotalSeconds + jitter[i]))
                .OrderBy(a => a.o.Stamp.Unit.Value == "u2" && a.At >= heldFrom && a.At < heldTo ? heldTo + (a.At / 1000) : a.At).Select(a => a.o)];

    [Fact]
    public void Backlogs_in_slices_and_restarts_at_any_point_give_what_the_ordered_walk_gives() => BusyDays.Sample(
        day =>
        {
            var site = Lived(day.Arrival, day.Steps);
            var expected = Outcome.Of(Plan, day.Ordered, End);
            Same(expected, site.Outcome());
            Assert.Equal(MemoryRecord.Bytes(expected.State, Plan), MemoryRecord.Bytes(site.State, Plan));
        },
        iter: 200, threads: 1, print: day => $"{day.Ordered.Count} observations, steps {string.Join(' ', day.Steps)}");

    [Fact]
    public void The_busy_days_are_worth_walking()
    {
        // Without long ways back, restarts from stored states and late words during a rework the property above would pass for nothing.
        var (reworks, rewinds, restored) = (0, 0, 0);
        BusyDays.Sample(
            day =>
            {
                var site = Lived(day.Arrival, day.Steps);
                (reworks, rewinds, restored) = (reworks + site.Reworks, rewinds + site.Rewinds, restored + site.Restored);
            }, iter: 50, threads: 1, seed: "0000000000000");
        Assert.True(reworks > 15 && rewinds > 2 * reworks && restored > 50, $"{reworks} reworks of {rewinds} rewinds, {restored} restarts from a stored state");
    }

    private static FollowedSite Lived(Observation[] arrival, (int Size, int Act, int Amount)[] steps)
    {
        var site = new FollowedSite(Plan);
        for (var (from, i) = (0, 0); from < arrival.Length; i++)
        {
            var (size, act, amount) = steps[i % steps.Length];
            var batch = arrival[from..Math.Min(from + size, arrival.Length)];
            from += batch.Length;
            site.Begin(batch);
            Act(site, act, amount);
        }

        while (site.Rework(7))
        {
        }

        site.Tick(End);
        return site;
    }

    private static void Act(FollowedSite site, int act, int amount)
    {
        switch (act)
        {
            case < 4:
                site.Rework(amount);
                break;
            case < 6:
                site.Tick(site.State.At.AddMinutes(amount / 40) is var to && to < End ? to : End);
                break;
            case < 8:
                site.Store();
                break;
            case 8:
                site.Restart(amount);
                break;
        }
    }

    [Fact]
    public void A_tick_every_minute_changes_nothing() => Observed.Sample(ordered =>
    {
        var site = new FollowedSite(Plan);
        var minute = Scenario.Midnight;
        foreach (var observation in ordered)
        {
            for (; minute <= observation.Stamp.At; minute = minute.AddMinutes(1))
            {
                site.Tick(minute);
            }

            site.Take([observation]);
        }

        for (; minute <= End; minute = minute.AddMinutes(1))
        {
            site.Tick(minute);
        }

        Same(Outcome.Of(Plan, ordered, End), site.Outcome());
    }, iter: 30, threads: 1, print: o => $"{o.Count} observations");

    [Fact]
    public void The_random_days_are_worth_walking()
    {
        // A generator of quiet days would let the properties above pass for nothing.
        var kinds = new HashSet<Core.Findings.FindingKind>();
        var runs = 0;
        Observed.Sample(
            ordered =>
            {
                var outcome = Outcome.Of(Plan, ordered, End);
                kinds.UnionWith(outcome.Kinds);
                runs += outcome.Runs.Length;
            }, iter: 200, threads: 1, seed: "0000000000000");
        Assert.True(kinds.Count >= 11, string.Join(", ", kinds));
        Assert.True(runs > 1000);
    }

    [Fact]
    public void A_message_older_than_the_state_goes_back_and_a_newer_one_does_not()
    {
        var day = Scenario.Of(Plans.House()).At("06:00").Tank("roof", "110").Tank("sump", "110").Stop().After(20).Start().After(20).Stop();
        var site = new FollowedSite(Plans.House());
        site.Take([.. day.Observations.Take(3)]);
        site.Take([day.Observations[4]]);
        Assert.Equal(0, site.Rewinds);
        Assert.Empty(site.Outcome().Runs);
        site.Take([day.Observations[3]]);
        Assert.Equal(1, site.Rewinds);
        Assert.Equal(TimeSpan.FromMinutes(20), Assert.Single(site.Outcome().Runs).Duration);
    }

    [Fact]
    public void A_message_that_is_late_takes_no_time_back_that_had_passed()
    {
        // Half an hour of an empty sump was noticed by the passing of time alone; a late word of something else must not undo it.
        var day = Scenario.Of(Plans.House()).At("05:00").Tank("sump", "100").Tank("roof", "110").Stop().At("05:30").Tank("roof", "100").At("06:00").Tank("sump", "000");
        var site = new FollowedSite(Plans.House());
        site.Take([.. day.Observations.Where((_, i) => i != 3)]);
        site.Tick(Scenario.TimeOf("06:45"));
        site.Take([day.Observations[3]]);
        Assert.Equal((1, "06:30"), (site.Rewinds, site.Outcome().Raised(Core.Findings.FindingKind.LowSupply)));
    }

    [Fact]
    public void A_finding_that_late_data_disprove_is_gone()
    {
        var plan = Plans.House();
        var day = Scenario.Of(plan).At("05:00").Tank("sump", "111").Tank("roof", "100").Stop().At("06:00").Tank("roof", "000").After(2).Start().At("06:30").Tank("roof", "100");
        var site = new FollowedSite(plan);
        site.Take([.. day.Observations.Where(o => o is not PumpObservation { Running: true })]);
        Assert.Contains(Core.Findings.FindingKind.NoStart, site.Outcome().Kinds);
        site.Take([.. day.Observations.Where(o => o is PumpObservation { Running: true })]);
        site.Outcome().Never(Core.Findings.FindingKind.NoStart);
    }
}
