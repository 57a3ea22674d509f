using System.Globalization;
using TankWatch.Core.Findings;
using TankWatch.Core.Texts;
using TankWatch.Simulator;
using Xunit;

namespace TankWatch.Core.Tests.Simulator;

/// <summary>When the demonstration shows what, for whoever starts it at whatever time of day.</summary>
public sealed class ScriptTests
{
    private static readonly TimeSpan History = TimeSpan.FromDays(5);
    private static readonly TimeSpan TwoMinutes = TimeSpan.FromMinutes(2);

    public static TheoryData<ulong, string> Starts => new()
    {
        { 20, "00:30" }, { 20, "06:00" }, { 20, "13:15:37" }, { 20, "21:45" }, { 7, "00:30" }, { 7, "06:00:50" }, { 7, "13:15" }, { 7, "21:45:09" },
    };

    [Theory]
    [MemberData(nameof(Starts))]
    public void Within_two_minutes_four_things_happen_one_after_the_other_and_a_power_cut_is_over(ulong seed, string time)
    {
        var cut = Only("brindle-hall", FindingKind.PowerFailure, seed, time);
        var moments = new[]
        {
            cut.SeenAt,
            Only("pippin-lodge", FindingKind.ShortCycling, seed, time).SeenAt,
            Only("ostlers-place", FindingKind.UnitSilent, seed, time).SeenAt,
            Only("ternhouse", FindingKind.RepeatedDryTrips, seed, time).SeenAt,
            cut.SeenOverAt ?? TimeSpan.MaxValue,
        };
        var told = $"seed {seed} at {time}: {string.Join(", ", moments.Select(m => m.TotalSeconds))} s";

        // While a site catches up with its history, in its first 10 s or so, nobody is told of anything.
        Assert.True(moments[0] > TimeSpan.FromSeconds(15), told);
        Assert.True(moments.Zip(moments.Skip(1)).All(pair => pair.Second - pair.First >= TimeSpan.FromSeconds(4)), told);
        Assert.True(moments[^1] < TwoMinutes, told);
    }

    [Theory]
    [MemberData(nameof(Starts))]
    public void A_unit_that_broke_off_before_the_start_is_called_silent_a_minute_after_it_and_speaks_again_at_six(ulong seed, string time)
    {
        var silent = Only("ostlers-place", FindingKind.UnitSilent, seed, time);

        Assert.Equal(TimeSpan.FromSeconds(58), silent.RaisedAt);
        Assert.InRange(silent.SeenAt, TimeSpan.FromSeconds(58), TimeSpan.FromSeconds(62));
        Assert.InRange(silent.SeenOverAt!.Value, TimeSpan.FromMinutes(6), TimeSpan.FromSeconds(363));
        Assert.Contains("connection broke", Assert.Single(silent.Text.In(Languages.English).Evidence), StringComparison.Ordinal);
    }

    [Fact]
    public void Whatever_the_time_of_day_the_four_come_in_order_and_at_most_the_chattering_probe_is_found_out_between_them()
    {
        foreach (var start in Enumerable.Range(0, 24).Select(hour => string.Create(CultureInfo.InvariantCulture, $"{hour:00}:{hour * 7 % 60:00}:{hour * 11 % 60:00}")))
        {
            var raised = Estate.Buildings.AsParallel().SelectMany(b => Live(b.Id, 20, start, TwoMinutes))
                .Where(f => f.SeenAt > TimeSpan.Zero).OrderBy(f => f.SeenAt).Select(f => (f.Site, f.Kind)).ToList();

            Assert.Equal(
                [
                    ("brindle-hall", FindingKind.PowerFailure), ("pippin-lodge", FindingKind.ShortCycling), ("ostlers-place", FindingKind.UnitSilent),
                    ("ternhouse", FindingKind.RepeatedDryTrips),
                ],
                raised.Where(f => f != ("pippin-lodge", FindingKind.ProbeFault)));
        }
    }

    [Theory]
    [InlineData("00:30")]
    [InlineData("06:00")]
    [InlineData("13:15:37")]
    [InlineData("21:45")]
    public void Nothing_else_is_raised_in_the_first_nine_minutes(string time)
    {
        (string, FindingKind)[] scripted =
        [
            ("brindle-hall", FindingKind.PowerFailure), ("pippin-lodge", FindingKind.ShortCycling), ("pippin-lodge", FindingKind.ProbeFault),
            ("ostlers-place", FindingKind.UnitSilent), ("ternhouse", FindingKind.RepeatedDryTrips),
            ("lantern-row", FindingKind.OverflowRisk), ("lantern-row", FindingKind.ControlFault),
            ("kiln-terrace", FindingKind.PowerFailure), ("wellyard", FindingKind.PowerFailure), ("wick-tower", FindingKind.PowerFailure), // The area.
        ];
        var raised = Estate.Buildings.AsParallel().SelectMany(b => Live(b.Id, 20, time, TimeSpan.FromMinutes(9))).Where(f => f.SeenAt > TimeSpan.Zero);

        Assert.Equal(scripted.Order(), raised.Select(f => (f.Site, f.Kind)).Order());
    }

    /// <summary>Which way water leaves is weighed when it is found, and now and then the other way weighs more; that it leaves is always found.</summary>
    [Theory]
    [InlineData("sorrel-court", FindingKind.Leak)]
    [InlineData("ostlers-place", FindingKind.BackDrain)]
    [InlineData("twin-gables", FindingKind.WeakPump)]
    [InlineData("wellyard", FindingKind.WeakPump)]
    public void The_month_before_it_has_taught_what_the_water_and_the_pump_do(string building, FindingKind kind)
    {
        FindingKind[] near = kind is FindingKind.WeakPump ? [kind] : [FindingKind.Leak, FindingKind.BackDrain];
        var kinds = new List<FindingKind>();
        foreach (var start in Enumerable.Range(0, 12).Select(i => TestSites.Start + TimeSpan.FromDays(30) + TimeSpan.FromMinutes(125 * i)))
        {
            var found = LivedEstate.Live(building, 20, start, TimeSpan.FromDays(30), TimeSpan.Zero);
            kinds.Add(found.FirstOrDefault(f => near.Contains(f.Kind) && f.ClearedAt is null)?.Kind ?? throw new InvalidOperationException($"{start:t}: {string.Join("; ", found)}"));
        }

        Assert.True(kinds.Count(k => k == kind) >= 9, string.Join(", ", kinds));
    }

    [Fact]
    public void Within_a_day_more_goes_wrong_and_all_of_it_is_healed_in_two()
    {
        var lived = Estate.Buildings.AsParallel().SelectMany(b => Live(b.Id, 20, "13:15", TimeSpan.FromDays(2))).ToList();
        var later = lived.Where(f => f.RaisedAt > TimeSpan.FromHours(1) && f.RaisedAt < TimeSpan.FromDays(1)).ToList();

        Assert.Superset(
            new HashSet<FindingKind> { FindingKind.ProbeFault, FindingKind.VoltageTrips, FindingKind.LowSupply, FindingKind.NoStart, FindingKind.LeftInManual },
            later.Select(f => f.Kind).ToHashSet());

        // Probes that are too close together are how that building was built, and a sump that its leak drained takes more than one supply to recover.
        Assert.All(lived.Where(f => f.Site != "finch-mews" && f.Kind != FindingKind.LowSupply), f => Assert.NotNull(f.ClearedAt));
    }

    private static LivedFinding Only(string building, FindingKind kind, ulong seed, string time) =>
        Assert.Single(Live(building, seed, time, TimeSpan.FromMinutes(7)), f => f.Kind == kind && (f.ClearedAt is null || f.ClearedAt > TimeSpan.Zero));

    private static IReadOnlyList<LivedFinding> Live(string building, ulong seed, string time, TimeSpan watched) =>
        LivedEstate.Live(building, seed, TestSites.Start + TimeSpan.FromDays(30) + TimeSpan.Parse(time, CultureInfo.InvariantCulture), History, watched);
}
