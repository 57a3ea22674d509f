using TankWatch.Core.Areas;
using TankWatch.Core.Findings;
using Xunit;

namespace TankWatch.Core.Tests.Areas;

public sealed class AreaWatchTests
{
    private static readonly DateTimeOffset Six = Scenario.TimeOf("06:00");

    /// <summary>An area or two, looked at every ten seconds.</summary>
    private sealed class Look(int sites, string? area = "harbour-side")
    {
        private readonly SortedDictionary<int, (DateTimeOffset Since, bool Dark)> outs = [];

        public AreaState State { get; private set; } = AreaState.Start;
        public List<Finding> Told { get; } = [];

        public Look Out(DateTimeOffset since, bool dark, params int[] which)
        {
            foreach (var site in which)
            {
                outs[site] = (since, dark);
            }

            return this;
        }

        public Look Back(params int[] which)
        {
            Array.ForEach(which, site => outs.Remove(site));
            return this;
        }

        public Look Until(DateTimeOffset end, DateTimeOffset from)
        {
            for (var now = from; now <= end; now = now.AddSeconds(10))
            {
                var signs = Enumerable.Range(1, sites).Select(i => new SiteSign(
                    new($"s{i:00}"), $"House {i}", area, outs.TryGetValue(i, out var since) && since.Since <= now ? since.Since : null, outs.TryGetValue(i, out var dark) && dark.Dark)).ToList();
                (State, var findings) = AreaWatch.Judge(State, signs, now);
                foreach (var finding in findings.Where(f => !Told.Any(t => t.RaisedAt == f.RaisedAt && t.Device == f.Device && t.ClearedAt == f.ClearedAt)))
                {
                    Told.Add(finding);
                }
            }

            return this;
        }
    }

    [Fact]
    public void Two_of_three_that_go_dark_together_are_one_outage_of_their_area()
    {
        var look = new Look(3).Out(Six, true, 1).Out(Six.AddMinutes(4), true, 3).Until(Six.AddMinutes(6), Six);
        var found = Assert.Single(look.Told);
        Assert.Equal((FindingKind.AreaOutage, "harbour-side", Priority.High, Six, Six.AddMinutes(4).AddSeconds(30)), (found.Kind, found.Device.Value, found.Priority, found.Since, found.RaisedAt));
        Assert.Equal("harbour-side: 2 buildings of 3 went dark or silent at the same time.", found.Said().Summary);
        Assert.Equal(FindingScope.Link, found.Scope);
    }

    [Theory]
    [InlineData(3, 1, 0)] // One alone is a fault of its own.
    [InlineData(7, 2, 0)] // Two of seven may be chance.
    [InlineData(6, 2, 1)] // A third of them.
    [InlineData(100, 5, 1)] // Five at once are no chance, however many there are.
    [InlineData(100, 4, 0)]
    public void It_takes_two_and_a_third_of_the_area_or_five(int sites, int dark, int outages) =>
        Assert.Equal(outages, new Look(sites).Out(Six, true, [.. Enumerable.Range(1, dark)]).Until(Six.AddMinutes(10), Six).Told.Count);

    [Fact]
    public void More_than_five_minutes_apart_is_not_together()
    {
        Assert.Empty(new Look(3).Out(Six, true, 1).Out(Six.AddMinutes(5).AddSeconds(1), true, 2).Until(Six.AddMinutes(20), Six).Told);
        Assert.Single(new Look(3).Out(Six, true, 1).Out(Six.AddMinutes(5), true, 2).Until(Six.AddMinutes(20), Six).Told);
    }

    [Fact]
    public void Silence_counts_after_three_minutes_since_mobile_networks_come_back_by_themselves()
    {
        var look = new Look(3).Out(Six, false, 1, 2).Until(Six.AddSeconds(170), Six);
        Assert.Empty(look.Told);
        Assert.Single(look.Until(Six.AddSeconds(190), Six.AddSeconds(180)).Told);
    }

    [Fact]
    public void It_is_over_when_too_few_are_out_for_two_minutes_and_it_grows_while_it_lasts()
    {
        var look = new Look(6).Out(Six, true, 1, 2).Until(Six.AddMinutes(2), Six).Out(Six.AddMinutes(20), true, 3).Until(Six.AddMinutes(21), Six.AddMinutes(3));
        Assert.Equal(["s01", "s02", "s03"], look.State.Open["harbour-side"].Sites);
        look.Back(1, 2).Until(Six.AddMinutes(32), Six.AddMinutes(30)); // One of three is left.
        Assert.Equal([null, Six.AddMinutes(32)], look.Told.Select(found => found.ClearedAt));
        Assert.Empty(look.State.Open);
    }

    [Fact]
    public void Sites_without_an_area_are_learnt_to_belong_together_from_three_outages()
    {
        var look = new Look(4, area: null);
        for (var day = 0; day < 3; day++)
        {
            var at = Six.AddDays(day);
            look.Out(at, true, 1, 2).Until(at.AddMinutes(10), at).Back(1, 2).Until(at.AddMinutes(20), at.AddMinutes(11));
        }

        Assert.Equal(Six.AddDays(2).AddMinutes(5), look.Told[0].RaisedAt); // The third is learnt from while it lasts.
        Assert.Equal(["s01", "s02"], look.State.Learnt.Groups()["s01"].AsEnumerable());
        look.Told.Clear();
        look.Out(Six.AddDays(3), true, 1, 2, 4).Until(Six.AddDays(3).AddMinutes(2), Six.AddDays(3));
        Assert.Equal(["s01", "s02"], look.State.Open[Assert.Single(look.Told).Device.Value].Sites);
    }

    [Fact]
    public void Who_is_learnt_to_belong_while_the_area_is_out_does_not_change_its_name()
    {
        var look = new Look(3, area: null);
        for (var day = 0; day < 3; day++)
        {
            int[] dark = day == 0 ? [2, 3] : [1, 2, 3];
            look.Out(Six.AddDays(day), true, dark).Until(Six.AddDays(day).AddMinutes(day == 2 ? 4 : 10), Six.AddDays(day)).Back(day == 2 ? [] : dark)
                .Until(Six.AddDays(day).AddMinutes(20), Six.AddDays(day).AddMinutes(day == 2 ? 5 : 11));
        }

        look.Back(1, 2, 3).Until(Six.AddDays(2).AddMinutes(30), Six.AddDays(2).AddMinutes(20));
        look.Told.Clear();
        look.Out(Six.AddDays(3), true, 1, 2, 3).Until(Six.AddDays(3).AddMinutes(10), Six.AddDays(3)); // From the sixth minute on s01 is of it.
        Assert.Equal(["s01", "s02", "s03"], look.State.Learnt.Groups()["s01"].AsEnumerable());
        Assert.Equal(("s02", true), (Assert.Single(look.Told).Device.Value, look.Told[0].IsOpen));
        Assert.Equal(["s01", "s02", "s03"], look.State.Open["s02"].Sites);
    }

    [Fact]
    public void Who_is_mostly_dark_alone_belongs_to_nobody()
    {
        var seen = CoOccurrence.None;
        for (var i = 0; i < 3; i++)
        {
            seen = seen.Add(["a", "b"]);
        }

        Assert.Single(seen.Groups());
        seen = Enumerable.Range(0, 3).Aggregate(seen, (s, _) => s.Add(["a"]).Add(["b"]));
        Assert.Empty(seen.Groups()); // Three of six.
    }

    [Fact]
    public void A_large_outage_joins_all_its_sites_without_counting_every_pair()
    {
        var sites = Enumerable.Range(0, 1000).Select(i => $"s{i:000}").ToList();
        var seen = Enumerable.Range(0, 3).Aggregate(CoOccurrence.None, (s, _) => s.Add(sites));
        Assert.Equal(1000, Assert.Single(seen.Groups()).Value.Length);
        Assert.Equal(999, seen.Together.Count);
    }
}
