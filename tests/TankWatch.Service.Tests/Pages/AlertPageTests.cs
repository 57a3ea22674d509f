using System.Net;
using TankWatch.Core.Findings;
using TankWatch.Service.Pages.Alerts;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed class AlertPageTests(Served service) : IClassFixture<Served>
{
    private const string Note = "Straße <b>no</b>\n\u202Eevil";

    [Fact]
    public async Task An_alert_says_what_is_wrong_since_when_how_sure_what_to_do_and_who_was_told()
    {
        var (site, id) = await ProbeFaultAsync();
        using var browser = await SignedInAsync();
        var page = await browser.OpenAsync($"/alerts/{id}");
        Assert.Contains("<h1 id=\"sentence\" class=\"hand\">The probes of tank roof cannot be right", page, StringComparison.Ordinal);
        Assert.Contains($"<a href=\"/sites/{site.Id}\"><bdi>Alder Row</bdi></a>", page, StringComparison.Ordinal);
        Assert.Contains("Nobody has acknowledged it yet.", page, StringComparison.Ordinal);
        Assert.Contains("It holds since <time", page, StringComparison.Ordinal);
        Assert.Contains("In the words of the trade: probe fault, <bdi>roof</bdi>. Its priority is medium.", page, StringComparison.Ordinal);
        Assert.Contains("Its cause: probes in an impossible order, certain as far as the probes can tell.", page, StringComparison.Ordinal);
        Assert.DoesNotContain("100", page[page.IndexOf("How sure", StringComparison.Ordinal)..page.IndexOf("What was seen", StringComparison.Ordinal)], StringComparison.Ordinal);
        Assert.Contains("What to check first", page, StringComparison.Ordinal);
        Assert.Contains("Take care", page, StringComparison.Ordinal);
        Assert.Contains("It was raised.", page, StringComparison.Ordinal);
        var told = await Eventually.Comes(() => browser.OpenAsync($"/alerts/{id}"), page => page.Contains("caretaker@example.org", StringComparison.Ordinal), "who was told");
        Assert.Contains("that it began", told, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_note_with_an_acknowledgement_and_one_after_it_stand_in_the_history_as_written()
    {
        var (_, id) = await ProbeFaultAsync();
        using var browser = await SignedInAsync();
        var page = await browser.OpenAsync($"/alerts/{id}");
        using (var answer = await browser.SendAsync(page, $"/alerts/{id}/acknowledge", ("note", Note.Replace("\n", "\r\n", StringComparison.Ordinal))))
        {
            Assert.Equal((HttpStatusCode.Redirect, $"/alerts/{id}"), (answer.StatusCode, answer.Headers.Location?.ToString()));
        }

        page = await browser.OpenAsync($"/alerts/{id}");
        Assert.Contains("<bdi>all-sites</bdi> acknowledged it.", page, StringComparison.Ordinal);
        Assert.Contains("<bdi dir=\"auto\">Stra&#xDF;e &lt;b&gt;no&lt;/b&gt;", page, StringComparison.Ordinal);
        Assert.DoesNotContain('\u202E', page);
        Assert.DoesNotContain("<button>Acknowledge", page, StringComparison.Ordinal);
        using (var answer = await browser.SendAsync(page, $"/alerts/{id}/note", ("note", "second thoughts")))
        {
            Assert.Equal(HttpStatusCode.Redirect, answer.StatusCode);
        }

        page = await browser.OpenAsync($"/alerts/{id}");
        Assert.Contains("<bdi>all-sites</bdi> noted:", page, StringComparison.Ordinal);
        Assert.Contains("second thoughts", page, StringComparison.Ordinal);
        var events = await service.GetJsonAsync($"/api/v1/alerts/{id}/events");
        Assert.Contains(events.GetProperty("items").EnumerateArray(), e => e.GetProperty("note").GetString() == Note);
    }

    [Fact]
    public async Task What_somebody_else_acknowledged_already_is_said_in_place_and_the_note_is_not_lost()
    {
        var (_, id) = await ProbeFaultAsync();
        using var browser = await SignedInAsync();
        var page = await browser.OpenAsync($"/alerts/{id}");
        (await service.SendAsync("POST", $"/api/v1/alerts/{id}/acknowledge", service.AddKey($"quicker-{id}"))).ToString();
        using var answer = await browser.SendAsync(page, $"/alerts/{id}/acknowledge", ("note", "my own words"));
        var text = await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken);
        Assert.Equal((HttpStatusCode.Conflict, "text/html"), (answer.StatusCode, answer.Content.Headers.ContentType?.MediaType));
        Assert.Contains($"It had been acknowledged already, by quicker-{id}.", text, StringComparison.Ordinal);
        Assert.Contains("my own words</textarea>", text, StringComparison.Ordinal);
        Assert.DoesNotContain("data-live", text, StringComparison.Ordinal); // It would look again at what is no page.
        var again = await service.GetAsync($"/alerts/{id}/acknowledge");
        Assert.Equal((HttpStatusCode.Redirect, $"/alerts/{id}"), (again.Status, again.Headers.Location?.ToString()));
        Assert.Contains("What was seen", text, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("", 0)]
    [InlineData(" \n ", 0)]
    [InlineData("x", 2001)]
    public async Task A_blank_or_endless_note_is_refused_in_place(string note, int times)
    {
        var (_, id) = await ProbeFaultAsync();
        using var browser = await SignedInAsync();
        var written = times == 0 ? note : new string(note[0], times);
        using var answer = await browser.SendAsync(await browser.OpenAsync($"/alerts/{id}"), $"/alerts/{id}/note", ("note", written));
        Assert.Equal(HttpStatusCode.BadRequest, answer.StatusCode);
        var text = await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken);
        Assert.Contains("The text must not be blank, nor longer than 2000 characters.", text, StringComparison.Ordinal);
        Assert.Contains("id=\"history\"", text, StringComparison.Ordinal);
        Assert.True(times == 0 || text.Contains(written, StringComparison.Ordinal));
    }

    [Fact]
    public async Task An_alert_of_the_past_says_first_that_it_is_over_and_asks_for_nothing()
    {
        var (_, id) = await ProbeFaultAsync();
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("POST", $"/api/v1/alerts/{id}/close", service.Key, """{"causeFound":"crossed\nleads"}""")).Status);
        using var browser = await SignedInAsync();
        var page = await browser.OpenAsync($"/alerts/{id}");
        Assert.Contains("<h1 id=\"sentence\">Over: <span class=\"own\">The probes", page, StringComparison.Ordinal);
        Assert.Contains("Closed by hand.", page, StringComparison.Ordinal);
        Assert.Contains("<bdi class=\"note\">crossed\nleads</bdi>", page.Replace("&#xA;", "\n", StringComparison.Ordinal), StringComparison.Ordinal);
        Assert.DoesNotContain("<button>Acknowledge", page, StringComparison.Ordinal);
        Assert.Contains("Add a note", page, StringComparison.Ordinal);
        using var answer = await browser.SendAsync(page, $"/alerts/{id}/acknowledge");
        Assert.Equal(HttpStatusCode.Conflict, answer.StatusCode);
        Assert.Contains("An alert that is normal takes no acknowledgement.", await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken), StringComparison.Ordinal);
    }

    [Fact]
    public async Task An_alert_that_ended_unacknowledged_says_so_and_still_asks()
    {
        var site = await service.AddSiteAsync();
        var id = await site.RaiseAsync();
        await Eventually.Comes(() => service.GetJsonAsync($"/api/v1/alerts/{id}"), alert => alert.GetProperty("notifiedAt").ValueKind == System.Text.Json.JsonValueKind.String, "the notice", TimeSpan.FromSeconds(40));
        await site.PublishAsync(
            ("supply", SampleSite.Supply(LiveSite.Ago(0.9), true, 4)), ("level", SampleSite.Level(LiveSite.Ago(0), "sump", "110", 5)));
        using var browser = await SignedInAsync();
        var page = await Eventually.Comes(
            () => browser.OpenAsync($"/alerts/{id}"), page => page.Contains("nobody has acknowledged it", StringComparison.Ordinal), "the end of the power cut", TimeSpan.FromSeconds(150));
        Assert.Contains("<h1 id=\"sentence\">Over: ", page, StringComparison.Ordinal);
        Assert.Contains("<button>Acknowledge", page, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_withdrawn_alert_says_that_it_never_was()
    {
        var site = await service.AddSiteAsync();
        var id = await site.RaiseAsync();
        await site.PublishAsync(("supply", SampleSite.Supply(LiveSite.Ago(5.9), true, 4))); // Late: the cut lasted six seconds.
        using var browser = await SignedInAsync();
        var page = await Eventually.Comes(
            () => browser.OpenAsync($"/alerts/{id}"), page => page.Contains("Withdrawn: <span class=\"own\">", StringComparison.Ordinal), "the withdrawal");
        Assert.Contains("Withdrawn: late messages showed that it never was.", page, StringComparison.Ordinal);
        Assert.DoesNotContain("<button>Acknowledge", page, StringComparison.Ordinal);
        Assert.Contains("late messages showed that it never was", await browser.OpenAsync($"/sites/{site.Id}"), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_broken_time_of_the_strip_is_said_in_place()
    {
        var (_, id) = await ProbeFaultAsync();
        var answer = await service.GetAsync($"/alerts/{id}?from=2026-03-02T00:00:00Z&to=2026-03-01T00:00:00Z");
        Assert.Equal(HttpStatusCode.BadRequest, answer.Status);
        Assert.Contains("The time asked for ends before it begins.", answer.Text, StringComparison.Ordinal);
        Assert.Contains("cannot be right", answer.Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task An_alert_that_is_not_there_or_not_this_callers_is_no_page_and_takes_no_form()
    {
        var (_, id) = await ProbeFaultAsync();
        var key = service.AddKey($"elsewhere-{id}", (await service.AddSiteAsync()).Id);
        using var other = await SignedInAsync(key);
        var token = await other.OpenAsync();
        foreach (var path in (string[])["/alerts/nothing", $"/alerts/{id}"])
        {
            Assert.Equal(HttpStatusCode.NotFound, (await service.GetAsync(path, key)).Status);
            foreach (var action in (string[])["acknowledge", "note"])
            {
                using var refused = await other.SendAsync(token, $"{path}/{action}", ("note", "x"));
                Assert.Equal(HttpStatusCode.NotFound, refused.StatusCode);
            }
        }

        using var browser = await SignedInAsync();
        using var forged = await browser.SendAsync(null, $"/alerts/{id}/note", ("note", "x"));
        Assert.Equal(HttpStatusCode.BadRequest, forged.StatusCode);
        Assert.Equal("raised", (await service.GetJsonAsync($"/api/v1/alerts/{id}/events")).GetProperty("items").EnumerateArray().Last().GetProperty("type").GetString());
        Assert.DoesNotContain("noted", (await service.GetAsync($"/api/v1/alerts/{id}/events")).Text, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(0.5, null, 6)] // Just begun: at least six hours, and no time to come.
    [InlineData(16, null, 20)] // A quarter before; the quarter after is to come.
    [InlineData(40, 16, 6 + 24 + 6)]
    [InlineData(24 * 30, null, 7 * 24)]
    public void The_strip_shows_the_time_of_the_evidence(double sinceHours, int? untilHours, double length)
    {
        var now = new DateTimeOffset(2026, 3, 2, 12, 0, 0, TimeSpan.Zero);
        var finding = new Finding(
            FindingKind.Leak, new("roof"), Priority.High, now.AddHours(-sinceHours), now.AddHours(-sinceHours), untilHours is { } until ? now.AddHours(-until) : null,
            null, [], new(Core.Texts.Phrase.Literal(""), [], [], []));
        var window = AlertPageView.StripOf(finding, now);
        Assert.Equal(length, window.Length.TotalHours, 0.001);
        Assert.True(window.From < finding.Since && window.To <= now && window.To > finding.Since);
    }

    private async Task<(LiveSite Site, string Id)> ProbeFaultAsync()
    {
        var site = await service.AddSiteAsync();
        await site.RaiseAsync(probesToo: true);
        var alerts = await site.AlertsAsync(2);
        return (site, alerts.Single(alert => alert.GetProperty("kind").GetString() == "probe-fault").GetProperty("id").GetString()!);
    }

    private Task<Browser> SignedInAsync(string? key = null) => Browser.SignedInAsync(service.Url, key ?? service.Key);
}
