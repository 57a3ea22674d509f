using System.Net;
using System.Text.RegularExpressions;
using TankWatch.Core;
using TankWatch.Core.Alerts;
using TankWatch.Core.Areas;
using TankWatch.Core.Findings;
using TankWatch.Core.Own;
using TankWatch.Core.Tests.Texts;
using TankWatch.Core.Texts;
using TankWatch.Service.Mail;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using TankWatch.Service.Tests.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

/// <summary>Every page in a made-up language, in which a word that stands in the code shows, and the home page and an alert in each that there is.</summary>
public sealed partial class PageLanguageTests(Served service) : IClassFixture<Served>
{
    private const string MadeUp = "qps";

    /// <summary>What stands on pages and is no word of a language: names of ours, of the trade's signs, and what devices and people sent.</summary>
    private static readonly string[] Data =
        ["TankWatch", "/openapi/v1.json", "https", "all-sites", "caretaker", "Caretaker", "example.org", "roof", "sump", "p1", "restart", "mid", "full", "cut-out", "low", "middle", "high", "UTC", "Europe/Lisbon", "IS 1172", "ISA-18.2", "dBm", "Alder Row", "none-there"];

    public static TheoryData<string> Tags => [.. Languages.All.Select(language => language.Tag)];

    /// <param name="path">With <c>SITE</c>, <c>UNIT</c> and <c>ALERT</c> for a building in which something is wrong, its unit, and its alert.</param>
    /// <param name="status">That it answers.</param>
    [Theory]
    [InlineData("/", 200)]
    [InlineData("/?wrong=any", 200)]
    [InlineData("/?wrong=leak", 200)]
    [InlineData("/?wrong=none-there", 400)]
    [InlineData("/?q=SITE", 200)]
    [InlineData("/?q=none-there", 200)]
    [InlineData("/?after=none-there", 400)]
    [InlineData("/sites/SITE", 200)]
    [InlineData("/sites/SITE?view=week&figures=month", 200)]
    [InlineData("/sites/SITE?view=none-there&figures=none-there", 400)]
    [InlineData("/sites/SITE?on=2026-02-30", 400)]
    [InlineData("/sites/SITE?from=2026-03-29T05:30:00Z", 400)]
    [InlineData("/sites/SITE?from=2026-01-29T05:30:00Z&to=2026-03-29T05:30:00Z", 200)]
    [InlineData("/sites/SITE/strip?from=2026-03-29T05:30:00Z&to=2026-03-30T05:30:00Z", 200)]
    [InlineData("/sites/none-there", 404)]
    [InlineData("/sites/SITE/visits", 200)]
    [InlineData("/sites/SITE/visits?month=none-there", 400)]
    [InlineData("/alerts/ALERT", 200)]
    [InlineData("/alerts/none-there", 404)]
    [InlineData("/units", 200)]
    [InlineData("/units?q=none-there", 200)]
    [InlineData("/units/UNIT", 200)]
    [InlineData("/units/none-there", 404)]
    [InlineData("/refused", 200)]
    [InlineData("/load", 200)]
    [InlineData("/load?site=SITE", 200)]
    [InlineData("/load?from=none-there", 400)]
    [InlineData("/notifications", 200)]
    [InlineData("/mails", 404)]
    [InlineData("/reference", 200)]
    [InlineData("/none-there", 404)]
    public async Task No_word_of_a_page_stands_in_the_code(string path, int status)
    {
        var (site, alert) = await WrongSiteAsync();
        using var browser = await Browser.SignedInAsync(service.Url, service.Key, MadeUp);
        var address = path.Replace("SITE", site.Id, StringComparison.Ordinal).Replace("UNIT", site.Unit, StringComparison.Ordinal).Replace("ALERT", alert, StringComparison.Ordinal);
        AssertSaid(await browser.OpenAsync(address, (HttpStatusCode)status));
    }

    [Fact]
    public async Task No_word_of_what_answers_a_form_stands_in_the_code()
    {
        var (site, alert) = await WrongSiteAsync();
        using var browser = await Browser.SignedInAsync(service.Url, service.Key, MadeUp);
        var page = await browser.OpenAsync($"/alerts/{alert}");
        (string Action, (string, string)[] Fields)[] refused =
        [
            ("note", [("note", " ")]), ("note", [("note", new string('x', 3000))]), ("close", [("found", "")]),
        ];
        foreach (var (action, fields) in refused)
        {
            await AssertSaidAsync(browser.SendAsync(page, $"/alerts/{alert}/{action}", fields));
        }

        (await browser.SendAsync(page, $"/alerts/{alert}/acknowledge")).Dispose();
        await AssertSaidAsync(browser.SendAsync(page, $"/alerts/{alert}/acknowledge", ("note", "1 2 3")));
        (await browser.SendAsync(page, $"/alerts/{alert}/close", ("found", "nothing-wrong"))).Dispose();
        AssertSaid(await browser.OpenAsync($"/alerts/{alert}"));
        AssertSaid(await browser.OpenAsync($"/sites/{site.Id}"));
        AssertSaid(await browser.OpenAsync("/load"));
        await AssertSaidAsync(browser.SendAsync(page, $"/alerts/{alert}/close", ("found", "nothing-wrong")));
        await AssertSaidAsync(browser.SendAsync(null, $"/alerts/{alert}/note", ("note", "1")));
    }

    [Fact]
    public async Task No_word_about_a_device_stands_in_the_code()
    {
        await WrongSiteAsync();
        using var phone = new Push.Browser();
        await using var pushService = await Webhooks.Target.StartAsync(context => context.Response.StatusCode = 410);
        var browser = service.Ledger.PutSubscriber(new(pushService.Url, phone.P256dh, phone.Auth, "caretaker@example.org", "phone", "all-sites", null));
        using var reader = await Browser.SignedInAsync(service.Url, service.Key, MadeUp);
        var page = await reader.OpenAsync("/notifications");
        AssertSaid(page);
        AssertSaid(await reader.OpenAsync($"/notifications?tried={browser.Id}"));
        await AssertSaidAsync(reader.SendAsync(page, $"/notifications/{browser.Id}/try"));
        await AssertSaidAsync(reader.SendAsync(page, $"/notifications/{browser.Id}/try")); // It is gone.
    }

    [Fact]
    public async Task No_word_of_an_alert_of_no_building_stands_in_the_code()
    {
        var now = TimeProvider.System.GetUtcNow();
        var signs = new[] { "Ash Court", "Elm Court" }.Select((name, i) => new SiteSign(new($"court-{i}"), name, "old-town", now.AddMinutes(-9), IsDark: i == 0));
        Finding[] findings =
        [
            .. AreaWatch.Judge(AreaState.Start, [.. signs], now).Findings, .. new[] { "store", "broker", "mail", "sites", "path" }.SelectMany(stage =>
                OwnWatch.Judge([], [new(stage, now.AddMinutes(-9), "connection refused")], now)),
        ];
        var alerts = findings.Select((finding, i) => StoredJsonTests.SampleAlert($"none-{i}") with { Site = SiteId.None, Finding = finding }).ToList();
        service.Store.Write(connection => LedgerStore.Append(connection, alerts, [.. alerts.Select(alert => new AlertRaised(alert.Id, now, alert.Site, alert.Finding))]));
        using var browser = await Browser.SignedInAsync(service.Url, service.Key, MadeUp);
        foreach (var alert in alerts)
        {
            AssertSaid(await browser.OpenAsync($"/alerts/{alert.Id}"), "old-town", alert.Finding.Device.Value, "/health/ready", "Ash Court", "Elm Court", "connection refused");
        }
    }

    [Fact]
    public async Task No_word_of_contracts_and_visits_stands_in_the_code()
    {
        var (site, alert) = await WrongSiteAsync();
        var contract = """{ "since": "2026-01-01", "until": "2099-12-31", "responseMinutes": { "critical": 1, "high": 240 }, "hours": "Mon-Fri 08:00-24:00, Sun 09:00-13:00", "visitsPerYear": 4, "reportDay": 3 }""";
        Assert.Equal(HttpStatusCode.OK, (await service.SendAsync("PUT", $"/api/v1/sites/{site.Id}/contract", service.Key, contract)).Status);
        using var browser = await Browser.SignedInAsync(service.Url, service.Key, MadeUp);
        var home = $"/sites/{site.Id}/visits";
        var page = await browser.OpenAsync(home);
        (string, string)[] wanted = [("at", "2098-06-01T10:00"), ("minutes", "60"), ("name", "Di"), ("alert", alert)];
        foreach (var (field, wrong) in new[] { ("at", "x"), ("at", "2001-01-01T10:00"), ("at", "2099-01-01T10:00"), ("minutes", "1"), ("name", ""), ("alert", "none-there"), ("email", "x") })
        {
            await AssertSaidAsync(browser.SendAsync(page, home, [.. wanted.Where(one => one.Item1 != field), (field, wrong)]));
        }

        var start = TimeProvider.System.GetUtcNow().AddDays(2).ToString("yyyy-MM-ddTHH:mm", System.Globalization.CultureInfo.InvariantCulture);
        foreach (var why in (string[])[alert, "", ""])
        {
            (await browser.SendAsync(page, home, ("at", start), ("minutes", "60"), ("name", "Di"), ("email", "di@example.org"), ("alert", why))).Dispose();
        }

        AssertSaid(await browser.OpenAsync(home));
        AssertSaid(await browser.OpenAsync($"/sites/{site.Id}"));
        var visits = service.Ledger.ListVisits(new(site.Id), null, 10);
        await AssertSaidAsync(browser.SendAsync(page, $"{home}/{visits[0].Id}/done", ("at", "2001-01-01T10:00")));
        (await browser.SendAsync(page, $"{home}/{visits[0].Id}/done", ("at", ""), ($"found-{alert}", "nothing-wrong"), ("notes", "1"))).Dispose();
        (await browser.SendAsync(page, $"{home}/{visits[1].Id}/cancel")).Dispose();
        await AssertSaidAsync(browser.SendAsync(page, $"{home}/{visits[1].Id}/cancel"));
        Assert.Equal(3, service.Ledger.ListVisits(new(site.Id), null, 10).Select(visit => visit.State).Distinct().Count());
        AssertSaid(await browser.OpenAsync(home));
        AssertSaid(await browser.OpenAsync($"{home}?month=2026-02"));
        AssertSaid(await browser.OpenAsync("/sites/none-there/visits", HttpStatusCode.NotFound));
    }

    [Fact]
    public async Task No_word_of_where_links_in_mails_lead_stands_in_the_code()
    {
        await using var own = new Served();
        await own.InitializeAsync();
        var site = await own.AddSiteAsync(language: MadeUp);
        var alert = await site.RaiseAsync();
        await Eventually.Holds(() => own.Ledger.ListLettersOf(alert).Count > 0, "the letter");
        var links = new MailLinks(own.Ledger, () => "");
        var (letter, now) = (own.Ledger.ListLettersOf(alert)[0].Key, TimeProvider.System.GetUtcNow());
        var (acknowledge, mails) = (links.AcknowledgeAddress(letter, now)!, links.UnsubscribeAddress("caretaker@example.org")!);
        using var browser = new Browser(own.Url, MadeUp);
        AssertSaid(await browser.OpenAsync(links.AcknowledgeAddress(letter, now.AddDays(-9))!, HttpStatusCode.Gone));
        foreach (var (path, field) in new[] { (acknowledge, ("known", "yes")), (mails, ("List-Unsubscribe", "One-Click")), (mails, ("undo", "yes")) })
        {
            AssertSaid(await browser.OpenAsync(path));
            using var answer = await browser.SendAsync(null, path, field);
            AssertSaid(await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken));
        }

        AssertSaid(await browser.OpenAsync(acknowledge));
        for (var i = 0; i < 20; i++)
        {
            AssertSaid(await browser.OpenAsync($"/a/wrong{i}", HttpStatusCode.NotFound));
        }

        AssertSaid(await browser.OpenAsync("/u/wrong", HttpStatusCode.TooManyRequests));
    }

    [Fact]
    public async Task No_word_of_a_demonstration_stands_in_the_code()
    {
        await using var demo = await Served.AsDemoAsync();
        using var browser = new Browser(demo.Url, MadeUp);
        var page = await browser.OpenAsync();
        AssertSaid(page);
        AssertSaid(await browser.OpenAsync("/mails"));
        using var answer = await browser.SendAsync(page, "/demo/speed", ("speed", "0"));
        AssertSaid(await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken));
    }

    [Fact]
    public async Task A_stranger_is_asked_in_their_language_too()
    {
        using var browser = new Browser(service.Url, MadeUp);
        var door = await browser.OpenDoorAsync();
        AssertSaid(door);
        using var answer = await browser.SendAsync(door, "/sign-in", ("key", "wrong"));
        AssertSaid(await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken));
    }

    [Fact]
    public void A_word_that_stands_in_the_code_would_be_seen() => Assert.Equal(
        ["Water", "How much"], PageText.Of("<p title=\"⟦x⟧\">⟦said⟧ <b>Water</b></p><svg aria-label=\"How much\"></svg><bdi>Name</bdi>").Where(text => PseudoLanguage.Strangers(text, Data) != ""));

    [Theory]
    [MemberData(nameof(Tags))]
    public async Task The_first_page_an_alert_and_the_others_are_whole_in_every_language(string tag)
    {
        var language = Languages.Of(tag);
        var (site, alert) = await WrongSiteAsync();
        using var browser = await Browser.SignedInAsync(service.Url, service.Key, $"xx, {tag};q=0.8, en;q=0.1");
        foreach (var path in new[] { "/", $"/sites/{site.Id}", $"/alerts/{alert}", "/units", $"/units/{site.Unit}", "/load", "/notifications" })
        {
            var page = await browser.OpenAsync(path);
            Assert.Contains($"<html lang=\"{tag}\" dir=\"{language.Direction}\"", page, StringComparison.Ordinal);
            Assert.All(PageText.Of(page), text => Assert.DoesNotMatch(KeyOrGap(), text));
        }
    }

    [Fact]
    public async Task The_language_chosen_at_the_foot_of_a_page_goes_before_that_of_the_browser()
    {
        using var browser = new Browser(service.Url, "pt-BR");
        var page = await browser.OpenDoorAsync();
        Assert.Contains("<html lang=\"pt\"", page, StringComparison.Ordinal);
        using (var answer = await browser.SendAsync(page, "/language", ("language", "ta"), ("back", "/")))
        {
            Assert.Equal((HttpStatusCode.Redirect, "/"), (answer.StatusCode, answer.Headers.Location?.ToString()));
        }

        Assert.Contains("<html lang=\"ta\"", page = await browser.OpenDoorAsync(), StringComparison.Ordinal);
        (await browser.SendAsync(page, "/language", ("language", "none-there"), ("back", "https://example.org"))).Dispose();
        Assert.Contains("<html lang=\"ta\"", await browser.OpenDoorAsync(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_page_tells_its_language_and_what_it_hangs_on_and_the_api_stays_english()
    {
        using var client = new HttpClient { BaseAddress = new Uri(service.Url), DefaultRequestHeaders = { { "Accept-Language", "hi" } } };
        using var page = await client.GetAsync("/", TestContext.Current.CancellationToken);
        Assert.Equal(["hi"], page.Content.Headers.ContentLanguage);
        Assert.Superset(new HashSet<string> { "Accept-Language", "Cookie" }, page.Headers.Vary.ToHashSet());
        using var api = await client.GetAsync("/api/v1/sites/none", TestContext.Current.CancellationToken);
        Assert.Empty(api.Content.Headers.ContentLanguage);
        Assert.DoesNotContain(await api.Content.ReadAsStringAsync(TestContext.Current.CancellationToken), c => c > 0x900);
    }

    /// <summary>With an alert, a refused message, and a second message of its unit.</summary>
    private async Task<(LiveSite Site, string Alert)> WrongSiteAsync()
    {
        var site = await service.AddSiteAsync();
        var alert = await site.RaiseAsync(probesToo: true);
        await service.ReceiveAsync($"tankwatch/v1/{site.Unit}/level", "{");
        return (site, alert);
    }

    private static async Task AssertSaidAsync(Task<HttpResponseMessage> sent)
    {
        using var answer = await sent;
        Assert.InRange((int)answer.StatusCode, 400, 599);
        AssertSaid(await answer.Content.ReadAsStringAsync(TestContext.Current.CancellationToken));
    }

    private static void AssertSaid(string page, params string[] more)
    {
        var others = Languages.All.Select(language => language.OwnName);
        Assert.Contains("⟦", WebUtility.HtmlDecode(page), StringComparison.Ordinal);
        Assert.All(PageText.Of(page), text => Assert.Equal(("", text), (PseudoLanguage.Strangers(Id().Replace(text, ""), [.. Data, .. others, .. more]), text)));
    }

    [GeneratedRegex(@"(tankwatch/v1/)?\b(fu|site)-\d+(/level)?")]
    private static partial Regex Id();

    /// <summary>A key that no language has a text for, or a gap that nothing filled.</summary>
    [GeneratedRegex(@"^\s*[a-z][a-z-]*(\.[a-z-]+)+\s*$|[{}\uFDD0-\uFDEF]")]
    private static partial Regex KeyOrGap();
}
