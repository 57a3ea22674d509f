using System.Diagnostics;
using CsCheck;
using TankWatch.Core.Alerts.Load;
using Xunit;

namespace TankWatch.Core.Tests.Alerts.Load;

/// <summary>The measure against one that looks at every second anew. A failure prints its seed.</summary>
public sealed class LoadPropertyTests
{
    private const int Length = 3 * 3600;

    // Bursts of one source or another, in whole seconds, some of them before the time that is looked at.
    private static readonly Gen<Annunciation[]> Days =
        Gen.Select(Gen.Int[-3600, Length + 60], Gen.Int[1, 40], Gen.Int[0, 90], Gen.Int[0, 2], Gen.Int[0, 200]).Array[0, 12].Select(bursts =>
            bursts.SelectMany(burst => Enumerable.Range(0, burst.Item2).Select(i =>
                Told.At(burst.Item1 + (i * burst.Item3), $"p{burst.Item4}", burst.Item5 == 0 ? null : burst.Item5))).ToArray());

    [Fact]
    public void Windows_floods_and_shares_are_those_of_a_measure_that_looks_at_every_second() => Days.Sample(told =>
    {
        var load = LoadMeasure.Of(told, Told.Start, Told.Start.AddSeconds(Length));
        int[] seconds = [.. told.Select(one => (int)(one.At - Told.Start).TotalSeconds).Where(second => second is >= 0 and < Length)];
        var (ten, hour) = (Counts(seconds, 600), Counts(seconds, 3600));
        Assert.Equal(seconds.Length, load.Count);
        Assert.Equal(ten.Max(), load.MostInTenMinutes);
        Assert.Equal(hour.Count(count => count > 30) / (double)Length, load.BusyHours, 1e-9);
        Assert.Equal(ten.Count(count => count > 10) / (double)Length, load.BusyTenMinutes, 1e-9);
        Assert.Equal(Floods(ten), load.Floods.Select(flood => ((int)(flood.From - Told.Start).TotalSeconds, (int)(flood.To - Told.Start).TotalSeconds)));
        Assert.All(load.Floods, flood => Assert.Equal(
            seconds.Count(s => s > (flood.From - Told.Start).TotalSeconds - 600 && s <= (flood.To - Told.Start).TotalSeconds), flood.Count));
    }, iter: 300);

    [Fact]
    public void Sources_are_those_of_a_measure_that_compares_each_with_each() => Days.Sample(told =>
    {
        var load = LoadMeasure.Of(told, Told.Start, Told.Start.AddSeconds(Length));
        Annunciation[] within = [.. told.Where(one => one.At >= Told.Start && one.At < Told.Start.AddSeconds(Length))];
        Assert.Equal(
            within.GroupBy(one => one.Source).Select(source => (source.Key.Device.Value, source.Count())).OrderByDescending(pair => pair.Item2).ThenBy(pair => pair.Value),
            load.Worst.Select(source => (source.Source.Device.Value, source.Count)));
        Assert.All(load.Worst, source => Assert.Equal(
            within.Any(first => within.Count(one => one.Source == source.Source && first.Source == source.Source && one.At >= first.At && one.At < first.At.AddMinutes(1)) >= 3),
            source.Chatters));
        Assert.Equal(
            within.Count(one => one.ActiveUntil - one.ActiveFrom < TimeSpan.FromMinutes(1)
                && !within.Any(other => !ReferenceEquals(one, other) && other.Source == one.Source && (other.At - one.At).Duration() < TimeSpan.FromMinutes(1))),
            load.Fleeting);
    }, iter: 300);

    [Fact]
    public void The_order_in_which_they_are_given_says_nothing() => Gen.Select(Days, Gen.Int).Sample((told, seed) =>
    {
        var shuffled = told.ToArray();
        new Random(seed).Shuffle(shuffled);
        var (one, other) = (LoadMeasure.Of(told, Told.Start, Told.Start.AddDays(2)), LoadMeasure.Of(shuffled, Told.Start, Told.Start.AddDays(2)));
        Assert.Equal(one.Worst, other.Worst);
        Assert.Equal(one.Floods, other.Floods);
        Assert.Equal(one.Stale, other.Stale);
    }, iter: 100);

    [Fact]
    public void A_million_take_seconds()
    {
        var random = new Random(7);
        var told = Enumerable.Range(0, 1_000_000).Select(i => Told.At(random.NextDouble() * 30 * 86_400, $"p{random.Next(5000)}", random.Next(200_000))).ToArray();
        var watch = Stopwatch.StartNew();
        var load = told.Load(days: 30);
        TestContext.Current.TestOutputHelper?.WriteLine($"{watch.Elapsed.TotalSeconds:0.0} s for {load.Count} annunciations");
        Assert.Equal((1_000_000, LoadVerdict.TooMuch), (load.Count, load.Verdict));
        Assert.InRange(watch.Elapsed.TotalSeconds, 0, 30); // Some two seconds here; a square of the count would take hours.
    }

    private static int[] Counts(int[] moments, int window) =>
        [.. Enumerable.Range(0, Length).Select(second => moments.Count(moment => moment <= second && moment > second - window))];

    private static List<(int From, int To)> Floods(int[] counts)
    {
        var floods = new List<(int, int)>();
        var since = -1;
        for (var second = 0; second < counts.Length; second++)
        {
            if (since < 0 && counts[second] >= 10)
            {
                since = second;
            }
            else if (since >= 0 && counts[second] < 5)
            {
                floods.Add((since, second));
                since = -1;
            }
        }

        if (since >= 0)
        {
            floods.Add((since, Length));
        }

        return floods;
    }
}
