using System.Net;
using System.Text.Json;
using TankWatch.Core;
using TankWatch.Core.Alerts.Load;
using TankWatch.Core.Alerts.Outcomes;
using TankWatch.Core.Findings;
using TankWatch.Service.Api;
using TankWatch.Service.Pages.Load;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed class LoadPageTests(Served service) : IClassFixture<Served>
{
    private static readonly DateTimeOffset Start = new(2026, 3, 1, 0, 0, 0, TimeSpan.Zero);

    [Fact]
    public void Zero_is_said_as_zero_and_nothing_is_made_of_it()
    {
        var view = ViewOf(30);
        Assert.Equal("No alerts in these 30 days.", view.Verdict);
        Assert.Empty(view.Worst);
        Assert.Equal("No alert has been closed with what was found on site yet, so nothing can be said.", view.RecordLead);
        Assert.All(view.Figures, figure => Assert.False(figure.IsOver, figure.Name));
    }

    [Fact]
    public void A_quiet_month_is_told_in_one_sentence_beside_what_is_held_to_be_acceptable()
    {
        var view = ViewOf(30, [.. Enumerable.Range(0, 12).Select(i => Told(i * 2 * 86_400))]);
        Assert.Equal("Quiet: 0.4 a day; up to about 150 a day is held to be acceptable.", view.Verdict);
        Assert.StartsWith("People were told 12 times in these 30 days", view.Counted, StringComparison.Ordinal);
        var worst = Assert.Single(view.Worst);
        Assert.Equal(("Alder Row, p1: Pump does not start, ", "12 times, 100 % of all"), (string.Concat(worst.Name.Select(part => part.Text)), worst.Heard));
        Assert.Contains(view.Figures, figure => figure.Value == "100 % (of 12, too few to say much)" && !figure.IsOver);
    }

    [Theory]
    [InlineData(11, 1, "Few on the whole, 0.4 a day, but 11 came within ten minutes")]
    [InlineData(155 * 30, 16_700, "Demanding: 155 a day, where about 150 are held to be acceptable.")]
    [InlineData(301 * 30, 8_600, "Too much: 301 a day, where about 300 are the most that anybody can heed.")]
    [InlineData(600, 60, "Too many at once, too often: 10 came within ten minutes, though 20 a day would be acceptable.")]
    public void What_is_too_much_is_said_first(int count, int apartMilliseconds, string verdict) =>
        Assert.StartsWith(verdict, ViewOf(30, [.. Enumerable.Range(0, count).Select(i => Told(i * (apartMilliseconds < 100 ? apartMilliseconds : apartMilliseconds / 30.0)))]).Verdict, StringComparison.Ordinal);

    [Theory]
    [InlineData(0, "0")]
    [InlineData(0.0049, "fewer than 0.01")]
    [InlineData(0.0333, "0.03")]
    [InlineData(0.4, "0.4")]
    [InlineData(6.25, "6.3")]
    [InlineData(150, "150")]
    public void Rates_are_as_fine_as_they_need(double rate, string said) => Assert.Equal(said, LoadWords.Rate(rate));

    [Fact]
    public async Task The_page_says_the_verdict_first_and_leads_to_the_worst_and_the_form_closes_with_what_was_found()
    {
        var site = await service.AddSiteAsync("Hazel <Row>");
        await site.RaiseAsync(probesToo: true);
        var alerts = await Eventually.Comes(
            () => site.AlertsAsync(2), alerts => alerts.Any(alert => IsProbeFault(alert) && alert.GetProperty("notifiedAt").ValueKind == JsonValueKind.String), "the notice", TimeSpan.FromSeconds(40));
        var id = alerts.Single(IsProbeFault).GetProperty("id").GetString()!;
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        var page = await browser.OpenAsync($"/load?site={site.Id}");
        Assert.Contains("<h1 id=\"verdict\">Quiet: ", page, StringComparison.Ordinal);
        Assert.Contains($"<a href=\"/sites/{site.Id}\"><bdi>Hazel &lt;Row&gt;</bdi></a>", page, StringComparison.Ordinal);
        Assert.Contains($"<a href=\"/alerts/{id}\"><bdi>Probe fault</bdi></a>", page, StringComparison.Ordinal);
        Assert.Contains("person=caretaker%40example.org", page, StringComparison.Ordinal);

        page = await browser.OpenAsync($"/alerts/{id}");
        Assert.Contains("<option value=\"lost-common\">The common electrode or its lead is lost</option>", page, StringComparison.Ordinal);
        using (var empty = await browser.SendAsync(page, $"/alerts/{id}/close", ("found", "in-words"), ("note", " ")))
        {
            Assert.Equal(HttpStatusCode.BadRequest, empty.StatusCode);
        }

        using (var invented = await browser.SendAsync(page, $"/alerts/{id}/close", ("found", "gremlins"), ("note", "my words")))
        {
            Assert.Equal(HttpStatusCode.BadRequest, invented.StatusCode);
            Assert.Contains("my words</textarea>", await invented.Content.ReadAsStringAsync(TestContext.Current.CancellationToken), StringComparison.Ordinal);
        }

        using (var answer = await browser.SendAsync(page, $"/alerts/{id}/close", ("found", "lost-common"), ("note", "a loose lead")))
        {
            Assert.Equal((HttpStatusCode.Redirect, $"/alerts/{id}"), (answer.StatusCode, answer.Headers.Location?.ToString()));
        }

        page = await browser.OpenAsync($"/alerts/{id}");
        Assert.Contains("<bdi class=\"note\">The common electrode or its lead is lost</bdi>", page, StringComparison.Ordinal);
        Assert.Contains("a loose lead", page, StringComparison.Ordinal);
        Assert.DoesNotContain("id=\"close\"", page, StringComparison.Ordinal);
        page = await browser.OpenAsync($"/load?site={site.Id}");
        Assert.Contains("1 of 1 (27 to 100 %) were right", page, StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_was_found_in_words_alone_is_kept_as_written()
    {
        var site = await service.AddSiteAsync();
        var id = await site.RaiseAsync();
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        using var answer = await browser.SendAsync(await browser.OpenAsync($"/alerts/{id}"), $"/alerts/{id}/close", ("found", "in-words"), ("note", "the main fuse"));
        Assert.Equal(HttpStatusCode.Redirect, answer.StatusCode);
        Assert.Equal("the main fuse", (await service.GetJsonAsync($"/api/v1/alerts/{id}")).GetProperty("causeFound").GetString());
    }

    [Fact]
    public async Task A_caretaker_sees_no_form_to_close_and_may_not_send_it()
    {
        var site = await service.AddSiteAsync();
        var id = await site.RaiseAsync();
        var key = service.Ledger.AddKey($"caretaker-{id}", "caretaker", new(site.Id)).Secret!;
        using var browser = await Browser.SignedInAsync(service.Url, key);
        var page = await browser.OpenAsync($"/alerts/{id}");
        Assert.DoesNotContain("id=\"close\"", page, StringComparison.Ordinal);
        using var answer = await browser.SendAsync(page, $"/alerts/{id}/close", ("found", "nothing-wrong"));
        Assert.Equal(HttpStatusCode.Forbidden, answer.StatusCode);
        Assert.Equal(JsonValueKind.Null, (await service.GetJsonAsync($"/api/v1/alerts/{id}")).GetProperty("causeFound").ValueKind);
    }

    [Theory]
    [InlineData("/load?site=nowhere", HttpStatusCode.NotFound)]
    [InlineData("/load?from=yesterday", HttpStatusCode.BadRequest)]
    [InlineData("/load?from=2026-02-01T00:00:00Z&to=2026-01-01T00:00:00Z", HttpStatusCode.BadRequest)]
    public async Task What_cannot_be_answered_is_said_on_a_page(string path, HttpStatusCode status)
    {
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        await browser.OpenAsync(path, status);
    }

    [Fact]
    public async Task Another_tenants_building_has_no_page_of_its_load()
    {
        var site = await service.AddSiteAsync();
        using var browser = await Browser.SignedInAsync(service.Url, service.AddKey($"load-page-{site.Id}", (await service.AddSiteAsync()).Id));
        await browser.OpenAsync($"/load?site={site.Id}", HttpStatusCode.NotFound);
        Assert.Contains("No alerts in", await browser.OpenAsync("/load"), StringComparison.Ordinal);
    }

    private static bool IsProbeFault(JsonElement alert) => alert.GetProperty("kind").GetString() == "probe-fault";

    private static LoadView ViewOf(int days, params Annunciation[] told)
    {
        var load = LoadMeasure.Of(told, Start, Start.AddDays(days));
        var report = new LoadReport(load, null, null, [], [], new Dictionary<string, string> { ["alder-row"] = "Alder Row" });
        return LoadView.Tell(report, AlertRecord.Of([]), TimeZoneInfo.Utc);
    }

    private static Annunciation Told(double second)
    {
        var at = Start.AddSeconds(second);
        return new("a", 1, new(new SiteId("alder-row"), new("p1"), FindingKind.NoStart), Priority.High, at, at, at.AddHours(1));
    }
}
