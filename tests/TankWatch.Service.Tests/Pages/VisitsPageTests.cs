using System.Globalization;
using System.Net;
using TankWatch.Core.Contracts;
using TankWatch.Service.Pages.Visits;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Visits;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed class VisitsPageTests(Served service) : IClassFixture<Served>
{
    private static readonly TimeZoneInfo Lisbon = TimeZoneInfo.FindSystemTimeZoneById("Europe/Lisbon"); // Of the sites of these tests.

    [Fact]
    public async Task A_visit_is_planned_moved_done_and_told_of_on_the_pages()
    {
        var site = await service.AddSiteAsync("Hazel <Row>");
        var alert = await site.RaiseAsync();
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        Assert.Contains($"<a href=\"/sites/{site.Id}/visits\">Visits and contract</a>", await browser.OpenAsync($"/sites/{site.Id}"), StringComparison.Ordinal);
        var (home, page) = ($"/sites/{site.Id}/visits", await browser.OpenAsync($"/sites/{site.Id}/visits"));
        Assert.Contains("<h1 id=\"next\">No visit is planned</h1>", page, StringComparison.Ordinal);
        Assert.Contains("There is no contract for this building.", page, StringComparison.Ordinal);

        var start = TimeProvider.System.GetUtcNow().AddDays(3);
        await SendAsync(browser, page, home, ("at", Local(start)), ("minutes", "60"), ("name", "Di <b>"), ("email", "di@example.org"), ("alert", alert));
        var visit = Assert.Single(service.Ledger.ListVisits(new(site.Id), null, 10));
        Assert.Equal((Local(start), alert, "all-sites"), (Local(visit.StartsAt), visit.Alert, visit.PlannedBy));
        page = await browser.OpenAsync(home);
        Assert.Contains($"<h1 id=\"next\">Next visit: {Said(start)}</h1>", page, StringComparison.Ordinal);
        Assert.Contains("<bdi>Di &lt;b&gt;</bdi>", page, StringComparison.Ordinal);
        Assert.Contains($"<a href=\"/alerts/{alert}\"><bdi>Power cut: ", page, StringComparison.Ordinal);
        Assert.Contains($">Next visit: {Said(start)}</a>", await browser.OpenAsync($"/sites/{site.Id}"), StringComparison.Ordinal);

        await SendAsync(browser, page, $"{home}/{visit.Id}/move", ("at", Local(start.AddDays(1))), ("minutes", "90"));
        Assert.Equal((1, 90), (service.Ledger.FindVisit(visit.Id)!.Sequence, service.Ledger.FindVisit(visit.Id)!.Minutes));
        await SendAsync(browser, page, $"{home}/{visit.Id}/done", ("at", ""), ($"found-{alert}", "power-failure"), ("notes", "a <fuse>"));
        Assert.Equal(VisitState.Done, service.Ledger.FindVisit(visit.Id)!.State);
        Assert.Equal("power-failure", service.Ledger.FindAlert(alert)!.CauseFound);
        page = await browser.OpenAsync(home);
        Assert.Contains("a &lt;fuse&gt;", page, StringComparison.Ordinal);
        Assert.Contains("<bdi>Power cut</bdi>", page, StringComparison.Ordinal);
        Assert.DoesNotContain("/move\"", page, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_visit_is_cancelled_and_no_form_goes_without_its_token()
    {
        var site = await service.AddSiteAsync();
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        var home = $"/sites/{site.Id}/visits";
        await SendAsync(browser, await browser.OpenAsync(home), home, ("at", Local(TimeProvider.System.GetUtcNow().AddDays(1))), ("minutes", "60"), ("name", "Di"));
        var visit = Assert.Single(service.Ledger.ListVisits(new(site.Id), null, 10));
        foreach (var action in (string[])["move", "cancel", "done"])
        {
            using var forged = await browser.SendAsync(null, $"{home}/{visit.Id}/{action}", ("at", ""));
            Assert.Equal(HttpStatusCode.BadRequest, forged.StatusCode);
        }

        await SendAsync(browser, await browser.OpenAsync(home), $"{home}/{visit.Id}/cancel");
        Assert.Contains("Cancelled", await browser.OpenAsync(home), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("2020-01-01T10:00", "60", "Di", "A visit is planned for a time to come.")]
    [InlineData("soon", "60", "Di", "This time cannot be read")]
    [InlineData("", "60", "Di", "This time cannot be read")]
    [InlineData("NEXT", "0", "Di", "A visit takes from 5 to 1440 minutes.")]
    [InlineData("NEXT", "60", "", "Say who goes, in at most 100 characters.")]
    public async Task What_cannot_be_done_is_said_on_the_page(string at, string minutes, string name, string said)
    {
        var site = await service.AddSiteAsync();
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        var home = $"/sites/{site.Id}/visits";
        at = at == "NEXT" ? Local(TimeProvider.System.GetUtcNow().AddDays(1)) : at;
        using var answer = await browser.SendAsync(await browser.OpenAsync(home), home, ("at", at), ("minutes", minutes), ("name", name));
        Assert.Equal(HttpStatusCode.BadRequest, answer.StatusCode);
        Assert.Contains(said, await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken), StringComparison.Ordinal);
        Assert.Empty(service.Ledger.ListVisits(new(site.Id), null, 10));
    }

    [Fact]
    public async Task A_caretaker_sees_it_all_without_a_form()
    {
        var site = await service.AddSiteAsync();
        using var installer = await Browser.SignedInAsync(service.Url, service.Key);
        var home = $"/sites/{site.Id}/visits";
        await SendAsync(installer, await installer.OpenAsync(home), home, ("at", Local(TimeProvider.System.GetUtcNow().AddDays(1))), ("minutes", "60"), ("name", "Di"));
        var visit = Assert.Single(service.Ledger.ListVisits(new(site.Id), null, 10));
        using var caretaker = await Browser.SignedInAsync(service.Url, service.Ledger.AddKey($"care-page-{site.Id}", "caretaker", new(site.Id)).Secret!);
        var page = await caretaker.OpenAsync(home);
        Assert.Contains("Next visit: ", page, StringComparison.Ordinal);
        Assert.DoesNotContain($"action=\"{home}", page, StringComparison.Ordinal);
        using var answer = await caretaker.SendAsync(page, $"{home}/{visit.Id}/cancel");
        Assert.Equal(HttpStatusCode.Forbidden, answer.StatusCode);
        Assert.Equal(VisitState.Planned, service.Ledger.FindVisit(visit.Id)!.State);

        using var stranger = await Browser.SignedInAsync(service.Url, service.AddKey($"stranger-{site.Id}", (await service.AddSiteAsync()).Id));
        await stranger.OpenAsync(home, HttpStatusCode.NotFound);
        await stranger.OpenAsync($"{home}/{visit.Id}.ics", HttpStatusCode.NotFound);
        var calendar = await service.GetAsync($"{home}/{visit.Id}.ics");
        Assert.Equal((HttpStatusCode.OK, "text/calendar"), (calendar.Status, calendar.MediaType));
        Assert.Equal($"{visit.Id}@tankwatch", CalendarReader.Of(calendar.Text).Event("UID").Value);
    }

    [Fact]
    public async Task A_contract_is_told_in_words_with_what_came_of_it()
    {
        var site = await service.AddSiteAsync();
        Assert.True(WorkingHours.TryParse("Mon-Fri 08:00-18:00, Sat 09:00-24:00", out var hours));
        service.Ledger.PutContract(new(site.Id), new(new(2026, 1, 1), null, Targets, hours, 4, 5));
        using var browser = await Browser.SignedInAsync(service.Url, service.Key);
        var page = await browser.OpenAsync($"/sites/{site.Id}/visits?month=2026-03");
        foreach (var said in (string[])
            [
                "It holds from 1 January 2026 on.", "on the building&#x27;s clock in these hours: Monday to Friday 08:00 to 18:00, Saturday 09:00 to 24:00.", "4 routine visits a year are agreed.",
                "The report is due on day 5 of each month.", ">March 2026</h3>", "No alert asked for an answer.", "Routine visits: 1 due, 0 planned, 0 done.", "Promised time for an answer: critical: ",
                "?month=2026-02#month", "?month=2026-04#month",
            ])
        {
            Assert.Contains(said, page, StringComparison.Ordinal);
        }

        await browser.OpenAsync($"/sites/{site.Id}/visits?month=March", HttpStatusCode.BadRequest);
    }

    [Theory]
    // CHECKS H2 [V]: London leaves out 01:00 to 02:00 on 2026-03-29 and lives 01:30 twice on 2026-10-25, first at 00:30Z.
    [InlineData("2026-03-29T01:30", null)]
    [InlineData("2026-03-29T02:00", "2026-03-29T01:00:00Z")]
    [InlineData("2026-10-25T01:30", "2026-10-25T00:30:00Z")]
    [InlineData("2026-10-25T02:00", "2026-10-25T02:00:00Z")]
    [InlineData("2026-3-29T02:00", null)]
    public void A_time_of_a_form_is_that_of_the_buildings_clock(string text, string? at) => Assert.Equal(
        at is null ? (DateTimeOffset?)null : DateTimeOffset.Parse(at, CultureInfo.InvariantCulture),
        VisitsReading.TryTime(text, TimeZoneInfo.FindSystemTimeZoneById("Europe/London")));

    private static readonly System.Collections.Immutable.ImmutableSortedDictionary<Core.Findings.Priority, int> Targets =
        System.Collections.Immutable.ImmutableSortedDictionary<Core.Findings.Priority, int>.Empty.Add(Core.Findings.Priority.Critical, 60);

    private static async Task SendAsync(Browser browser, string page, string action, params (string Name, string Value)[] fields)
    {
        using var answer = await browser.SendAsync(page, action, fields);
        Assert.True(answer.StatusCode == HttpStatusCode.Redirect, await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken));
    }

    private static string Local(DateTimeOffset at) => TimeZoneInfo.ConvertTime(at, Lisbon).ToString("yyyy-MM-ddTHH:mm", CultureInfo.InvariantCulture);

    private static string Said(DateTimeOffset at) => TimeZoneInfo.ConvertTime(at, Lisbon).ToString("dddd d MMMM, HH:mm", CultureInfo.InvariantCulture);
}
