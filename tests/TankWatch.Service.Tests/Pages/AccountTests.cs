using System.Collections.Immutable;
using TankWatch.Core;
using TankWatch.Core.Periods;
using TankWatch.Core.Sites;
using TankWatch.Core.Timelines;
using TankWatch.Service.Pages.Building;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

/// <summary>What a building's page says its water and its pump come to.</summary>
public sealed class AccountTests(Served service) : IClassFixture<Served>
{
    private static readonly DateOnly Today = new(2026, 3, 9);
    private static readonly SitePlan House = WithLift(SampleSite.Plan(SampleSite.Json("account", "fu-account")) with { Residents = 48 });

    private static SitePlan WithLift(SitePlan plan) => plan with { Pumps = [.. plan.Pumps.Select(pump => pump with { StaticLiftMetres = 18 })] };

    private static Estimate About(double value, double half) => new(value, value - half, value + half);

    private static SiteDay Day(int ago, Estimate? rate = null, Estimate? leak = null, Estimate? kwh = null, double below = 0, double heard = 86_400) => new(
        Today.AddDays(-ago), true,
        [.. House.Pumps.Select(pump => new PumpDay(pump.Id, 3, 9000, 3600, 0, About(8000, 200), rate, kwh))],
        [.. House.Tanks.Where(t => t.Role == TankRole.Overhead).Select(tank => new TankDay(tank.Id, About(7200, 100), leak, below, 0.9, 0, heard, 86_400 - heard))]);

    private static (string Text, string Brief)? Said(string start, SiteDay day)
    {
        var period = SitePeriod.Of(House, day.Date, day.Date, [day]);
        return AccountQuantity.All(House).Single(quantity => quantity.Name.StartsWith(start, StringComparison.Ordinal)).Of(period);
    }

    [Fact]
    public void A_leak_is_told_by_its_bound_until_one_is_sure()
    {
        Assert.Equal("no leak above 14 L/h, 95 % sure", Said("Leak", Day(1, leak: new(0, 0, 13.2)))!.Value.Text);
        Assert.Equal("no leak above 47 L/h, 95 % sure", Said("Leak", Day(1, leak: new(1, 0, 47)))!.Value.Text); // One day of a month found a little.
        Assert.Equal("61\n(50 to 72)", Said("Leak", Day(1, leak: new(61, 50, 72)))!.Value.Text);
        Assert.Null(Said("Leak", Day(1)));
    }

    [Fact]
    public void Energy_below_what_lifting_takes_says_that_the_data_are_wrong()
    {
        var (fine, wrong) = (Said("Energy", Day(1, kwh: About(1.6, 0.16)))!.Value.Text, Said("Energy", Day(1, kwh: About(0.3, 0.03)))!.Value.Text);
        Assert.Equal("200\n(179 to 221)", fine);
        Assert.StartsWith("38\n(34 to 41)\n", wrong, StringComparison.Ordinal);
        Assert.Contains("are wrong", wrong, StringComparison.Ordinal);
        Assert.Contains("(lifting alone takes 49)", AccountQuantity.All(House).Select(quantity => quantity.Name).Single(name => name.StartsWith("Energy", StringComparison.Ordinal)), StringComparison.Ordinal); // CHECKS B1: 2.724·18 [D].
    }

    [Fact]
    public void Water_above_the_lowest_probe_is_rounded_down_and_silence_shows_as_bounds()
    {
        Assert.Equal("99.9 %", Said("Water above", Day(1, below: 20))!.Value.Text);
        Assert.Equal("100 %\n(75 % to 100 %)", Said("Water above", Day(1, heard: 64_800))!.Value.Text);
    }

    [Fact]
    public void Delivery_is_drawn_day_by_day_and_told_in_a_sentence()
    {
        SiteDay[] days = [Day(3, About(60, 2)), Day(2), Day(1, About(54.2, 0.6))];
        var chart = DeliveryChart.Of(House.Pumps[0], days, Today)!;
        Assert.Equal($"Pump {House.Pumps[0].Id} delivered 54.2 (53.6 to 54.8) litres a minute on 8 March, and 60 (58 to 62) on 6 March.", chart.Text);
        Assert.Equal(["6 March", "8 March"], chart.Marks.Select(mark => mark.Day));
        Assert.All(chart.Marks, mark => Assert.True(0 <= mark.High && mark.High < mark.Y && mark.Y < mark.Low && mark.Low <= DeliveryChart.Height));
        Assert.True(chart.Marks[0].Y < chart.Marks[1].Y && chart.Marks[1].X < DeliveryChart.Width);
        Assert.InRange(chart.Lines.Count, 2, 6);
        Assert.Null(DeliveryChart.Of(House.Pumps[0], days[..2], Today)); // One day compares with none.
    }

    [Fact]
    public void Use_is_drawn_dense_as_far_as_it_is_sure()
    {
        var hours = Enumerable.Range(0, 24).Select(hour => hour == 7 ? new Estimate(300, 250, 400) : new Estimate(50, 0, 100)).ToImmutableArray();
        var charts = UseChart.Of(new(hours, [.. hours.Select(hour => hour * 0.5)]));
        Assert.StartsWith("Monday to Friday: most from 07:00 to 08:00, between 250 and 400 litres;", charts[0].Text, StringComparison.Ordinal);
        Assert.Equal((0.0, 36.0), (charts[0].Bars[7].May, charts[0].Bars[7].Sure)); // [D]: 96 · (1 − 250/400).
        Assert.Equal(48.0, charts[1].Bars[7].May); // Both on one scale.
        Assert.Empty(UseChart.Of(null));
    }

    [Fact]
    public async Task A_building_without_a_whole_day_says_so_and_draws_nothing()
    {
        var site = await service.AddSiteAsync();
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        var page = await browser.OpenAsync($"/sites/{site.Id}");
        Assert.Contains("There is no whole day yet.", page, StringComparison.Ordinal);
        Assert.DoesNotContain("class=\"chart\"", page, StringComparison.Ordinal);
    }
}
