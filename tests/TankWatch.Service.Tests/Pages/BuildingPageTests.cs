using System.Net;
using System.Text.RegularExpressions;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed partial class BuildingPageTests(Served service) : IClassFixture<Served>
{
    [Fact]
    public async Task A_building_that_nothing_is_known_of_says_so_in_every_part()
    {
        var site = await service.AddSiteAsync("Hazel Row");
        var page = await OpenAsync(site.Id);
        Assert.Contains("Nothing has been heard of <bdi>Hazel Row</bdi> yet.", page, StringComparison.Ordinal);
        Assert.Contains("Nothing has been heard of its probes yet.", page, StringComparison.Ordinal);
        Assert.Contains("Nothing is known of it yet.", page, StringComparison.Ordinal);
        Assert.Contains("Whether it tripped today is not known.", page, StringComparison.Ordinal);
        Assert.Contains("No run is known yet.", page, StringComparison.Ordinal);
        Assert.Contains("so far, nothing known", page, StringComparison.Ordinal);
        Assert.Contains("not known", page, StringComparison.Ordinal);
        Assert.Contains("There is none.", page, StringComparison.Ordinal);
        Assert.Contains("The site file gives no rating", page, StringComparison.Ordinal);
        Assert.Contains("At most 6 starts an hour (assumed: the site file does not say).", page, StringComparison.Ordinal);
        Assert.Contains("No run shorter than 90 seconds (assumed: the site file does not say).", page, StringComparison.Ordinal);
        Assert.DoesNotContain("%", Text(page), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Water_stands_between_its_bounds_and_a_run_with_its_cause()
    {
        var site = await service.AddSiteAsync();
        await site.PublishAsync(
            ("level", SampleSite.Level(LiveSite.Ago(9), "roof", "110", 0)), ("pump", SampleSite.Pump(LiveSite.Ago(9), false, 1)), ("pump", SampleSite.Pump(LiveSite.Ago(8), true, 2)),
            ("level", SampleSite.Level(LiveSite.Ago(3), "roof", "111", 3)), ("pump", SampleSite.Pump(LiveSite.Ago(2), false, 4, "overload")),
            ("level", SampleSite.Level(LiveSite.Ago(1), "sump", "000", 5)));
        var page = await ComesAsync(site.Id, "It is below its lowest probe: 1\u202f500 litres or less.");
        Assert.Contains("It is full: 5\u202f800 litres or more.", page, StringComparison.Ordinal);
        Assert.Contains("It was stopped for overload. It is in automatic mode.", page, StringComparison.Ordinal);
        Assert.Matches("Trips today: 1 for overload|No trips today", page); // Just after midnight it was yesterday.
        Assert.Contains("data-label=\"Stopped\">overload</td>", page, StringComparison.Ordinal);
        Assert.Contains("data-label=\"Ran for\">6 min</td>", page, StringComparison.Ordinal);
        Assert.Matches("<time datetime=\"[0-9TZ:.-]+\" data-ago>", page);
        Assert.Contains($"id=\"tank-roof\"", page, StringComparison.Ordinal);
        Assert.Contains("so far", page, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_reading_older_than_promised_says_how_it_was()
    {
        var site = await service.AddSiteAsync();
        await site.PublishAsync(("level", SampleSite.Level(LiveSite.Ago(80), "roof", "110", 0)));
        Assert.Contains("this is how it was, not how it is", await ComesAsync(site.Id, "It holds between 3\u202f900 and 5\u202f800 litres."), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_building_with_something_wrong_needs_a_hand_and_is_acknowledged_on_its_page()
    {
        var site = await service.AddSiteAsync("Alder Row");
        var id = await site.RaiseAsync(probesToo: true);
        using var browser = await SignedInAsync();
        var page = await Eventually.Comes(() => browser.OpenAsync($"/sites/{site.Id}"), page => page.Contains("and 1 other thing", StringComparison.Ordinal), "two alerts");
        Assert.Contains("class=\"hand\"><bdi>Alder Row</bdi> needs a <span class=\"word\">hand</span>: ", page, StringComparison.Ordinal);
        Assert.Contains("Nobody has acknowledged it yet.", page, StringComparison.Ordinal);
        Assert.Contains($"href=\"/alerts/{id}\"", page, StringComparison.Ordinal);
        Assert.Contains("Its probes contradict each other; whichever is right, it holds between 1\u202f500 and 6\u202f000 litres.", Decoded(page), StringComparison.Ordinal);
        Assert.Contains("Its probes fail</bdi></a>", page, StringComparison.Ordinal);

        using var answer = await browser.SendAsync(page, $"/alerts/{id}/acknowledge", ("back", $"/sites/{site.Id}"), ("note", ""));
        Assert.Equal((HttpStatusCode.Redirect, $"/sites/{site.Id}"), (answer.StatusCode, answer.Headers.Location?.ToString()));
        Assert.Contains("<bdi>all-sites</bdi> acknowledged it (", await browser.OpenAsync($"/sites/{site.Id}"), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Past_alerts_say_how_they_ended_ten_on_a_page()
    {
        var site = await service.AddSiteAsync();
        for (var i = 0; i < 12; i++)
        {
            await site.PublishAsync(
                ("supply", SampleSite.Supply(LiveSite.Ago(400 - (30 * i)), false, (3 * i) + 1)), ("level", SampleSite.Level(LiveSite.Ago(395 - (30 * i)), "roof", "100", (3 * i) + 2)),
                ("supply", SampleSite.Supply(LiveSite.Ago(390 - (30 * i)), true, (3 * i) + 3)));
        }

        await site.PublishAsync(("level", SampleSite.Level(LiveSite.Ago(1), "roof", "110", 99)));
        var alerts = await Eventually.Comes(
            () => service.GetJsonAsync($"/api/v1/alerts?site={site.Id}&state=normal"), list => list.GetProperty("items").GetArrayLength() == 12, "twelve past alerts");
        var ids = alerts.GetProperty("items").EnumerateArray().Select(alert => alert.GetProperty("id").GetString()!).ToList();
        var page = await OpenAsync(site.Id);
        Assert.Equal(ids[..10], PastIds(page));
        Assert.Contains("It ended by itself", page, StringComparison.Ordinal);
        var older = await OpenAsync($"{site.Id}?before={ids[9]}");
        Assert.Equal(ids[10..], PastIds(older));
        Assert.DoesNotContain("Older alerts", older, StringComparison.Ordinal);

        static IEnumerable<string> PastIds(string page) => PastId().Matches(page).Select(match => match.Groups[1].Value);
    }

    [Fact]
    public async Task A_name_with_markup_and_marks_of_direction_stays_text_on_its_own()
    {
        var site = await service.AddSiteAsync("</title><img src=x onerror=alert(1)> \u202Etxet");
        var page = await OpenAsync(site.Id);
        Assert.DoesNotContain("<img", page, StringComparison.OrdinalIgnoreCase);
        Assert.DoesNotContain('\u202E', page);
        Assert.Contains("<bdi>&lt;/title&gt;&lt;img", page, StringComparison.Ordinal);
        Assert.DoesNotContain("&#x202E;", TitleOf().Match(page).Value, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("view=year")]
    [InlineData("on=2026-02-30")]
    [InlineData("from=2026-03-02T00:00:00Z&to=2026-03-01T00:00:00Z")]
    [InlineData("from=2026-01-01T00:00:00Z&to=2026-12-01T00:00:00Z")]
    [InlineData("figures=year")]
    public async Task What_the_address_asks_for_and_cannot_be_is_said_on_the_whole_page(string query)
    {
        var site = await service.AddSiteAsync("Hazel Row");
        var answer = await service.GetAsync($"/sites/{site.Id}?{query}");
        Assert.Equal((HttpStatusCode.BadRequest, "text/html"), (answer.Status, answer.MediaType));
        Assert.Contains("role=\"alert\"", answer.Text, StringComparison.Ordinal);
        Assert.Contains("<bdi>Hazel Row</bdi>", answer.Text, StringComparison.Ordinal);
        Assert.Contains("id=\"arrangement\"", answer.Text, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("week", "days known")]
    [InlineData("month", "days known")]
    public async Task Figures_of_a_longer_period_say_how_many_days_are_known(string period, string words)
    {
        var site = await service.AddSiteAsync();
        var page = await OpenAsync($"{site.Id}?figures={period}");
        Assert.Contains(words, page, StringComparison.Ordinal);
        Assert.Contains($"figures={period}#figures\" aria-current=\"true\"", page, StringComparison.Ordinal);
        Assert.Contains($"view=week&amp;figures={period}#days", page, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_bore_without_a_sump_and_tanks_without_their_own_unit_are_said_as_they_are()
    {
        await PutAsync("bore-yard", """
            { "id": "bore-yard", "name": "Bore Yard", "timeZone": "Asia/Kolkata",
              "tanks": [
                { "id": "dry-pit", "role": "sump", "capacityLitres": 9000, "probes": [] },
                { "id": "east", "role": "overhead", "capacityLitres": 8000, "fireReserveLitres": 2000, "probes": [ { "name": "<b>low</b>", "volumeLitres": 3000 }, { "name": "high", "volumeLitres": 7900 } ] },
                { "id": "west", "role": "overhead", "capacityLitres": 9000, "probes": [
                  { "name": "1", "volumeLitres": 1000 }, { "name": "2", "volumeLitres": 1100 }, { "name": "3", "volumeLitres": 1200 }, { "name": "4", "volumeLitres": 1300 },
                  { "name": "5", "volumeLitres": 1400 }, { "name": "6", "volumeLitres": 1500 }, { "name": "7", "volumeLitres": 1600 }, { "name": "8", "volumeLitres": 8900 } ] } ],
              "pumps": [ { "id": "deep", "from": null, "to": [ "east", "west" ], "ratedWatts": 1500, "ratedLitresPerMinute": 90, "maxStartsPerHour": 4, "minRunSeconds": 240, "dryRunDetector": true } ],
              "units": [ { "id": "by-1", "reports": [ "dry-pit", "east", "west", "deep" ] } ] }
            """);
        var page = await ComesAsync("bore-yard", "Bore Yard");
        Assert.Contains("It has no probes: nothing can be known of its water. Full, it holds 9\u202f000 litres.", page, StringComparison.Ordinal);
        Assert.Contains("draws from a bore, or a sump that nobody measures and fills tank east and tank west, which share one riser.", page, StringComparison.Ordinal);
        Assert.Contains("The fire reserve of 2\u202f000 litres is left out: it is not water to use.", page, StringComparison.Ordinal);
        Assert.Contains("Rated for 1\u202f500 W, 90 litres a minute.", page, StringComparison.Ordinal);
        Assert.Contains("At most 4 starts an hour.", page, StringComparison.Ordinal);
        Assert.Contains("a bore, or not measured</text>", page, StringComparison.Ordinal);
        Assert.Contains("<bdi>&lt;b&gt;low&lt;/b&gt;</bdi>", page, StringComparison.Ordinal);
        Assert.DoesNotContain(" style=", page, StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_an_installation_should_do_stands_quietly_and_what_cannot_work_openly()
    {
        var sound = Expected(await OpenAsync((await service.AddSiteAsync()).Id));
        Assert.Contains("Nothing in the site file contradicts itself", sound, StringComparison.Ordinal);
        Assert.Contains("<summary>What to expect</summary>", sound, StringComparison.Ordinal);
        Assert.Contains("<li>Probes 2 and 3 of roof, counted from the lowest, are the closest, 1900 litres apart.", sound, StringComparison.Ordinal);

        await PutAsync("close-yard", """
            { "id": "close-yard", "name": "Close Yard", "timeZone": "Etc/UTC",
              "tanks": [ { "id": "attic", "role": "overhead", "capacityLitres": 1560, "probes": [ { "name": "a", "volumeLitres": 1118 }, { "name": "b", "volumeLitres": 1144 } ] } ],
              "pumps": [ { "id": "lift", "from": null, "to": [ "attic" ], "ratedLitresPerMinute": 66, "riserLitres": 9, "dryRunDetector": true } ],
              "units": [] }
            """);
        var page = await ComesAsync("close-yard", "Close Yard");
        var close = Expected(page);
        Assert.Contains("<li><b>A fault.</b> Pump lift should fill attic", close, StringComparison.Ordinal);
        Assert.True(close.IndexOf("work at height", StringComparison.Ordinal) < close.IndexOf("<details", StringComparison.Ordinal), "the cautions stand open beside what asks for a look");
        Assert.Contains("<summary>What is as it should be</summary>", close, StringComparison.Ordinal);
        Assert.Contains("must wait longer than 21 seconds", close, StringComparison.Ordinal);
        Assert.DoesNotContain("%", Text(page), StringComparison.Ordinal);

        await PutAsync("bare-yard", """
            { "id": "bare-yard", "name": "Bare Yard", "timeZone": "Etc/UTC", "tanks": [ { "id": "pit", "role": "sump", "capacityLitres": 900, "probes": [] } ], "pumps": [], "units": [] }
            """);
        Assert.Contains("The site file gives too little to tell.", Expected(await ComesAsync("bare-yard", "Bare Yard")), StringComparison.Ordinal);

        static string Expected(string page) => page[page.IndexOf("<section id=\"expected\"", StringComparison.Ordinal)..];
    }

    [Fact]
    public async Task A_building_that_is_not_there_or_not_this_callers_is_no_page()
    {
        var site = await service.AddSiteAsync("Hazel Row");
        var key = service.AddKey($"next-door-{site.Id}", (await service.AddSiteAsync()).Id);
        foreach (var (path, who) in ((string, string)[])[("/sites/nowhere", service.Key), ("/sites/..%2f", service.Key), ($"/sites/{site.Id}", key)])
        {
            var answer = await service.GetAsync(path, who);
            Assert.Equal((HttpStatusCode.NotFound, "text/html"), (answer.Status, answer.MediaType));
            Assert.DoesNotContain("Hazel", answer.Text, StringComparison.Ordinal);
        }

        Assert.Equal(HttpStatusCode.Unauthorized, (await service.SendAsync("GET", $"/sites/{site.Id}", null)).Status);
    }

    private async Task PutAsync(string id, string json)
    {
        var answer = await service.SendAsync("PUT", $"/api/v1/sites/{id}", service.Key, json);
        Assert.True(answer.Status == HttpStatusCode.Created, answer.Text);
    }

    private async Task<string> OpenAsync(string id)
    {
        var answer = await service.GetAsync($"/sites/{id}");
        Assert.True((answer.Status, answer.MediaType) == (HttpStatusCode.OK, "text/html"), answer.Text);
        return Decoded(answer.Text);
    }

    private Task<string> ComesAsync(string id, string words) =>
        Eventually.Comes(() => OpenAsync(id), page => page.Contains(words, StringComparison.Ordinal), $"'{words}' on the page of {id}");

    private Task<Browser> SignedInAsync() => Browser.SignedInAsync(service.Url, service.Key);

    /// <summary>The encoder writes every letter beyond ASCII as a number; the thin space is what these tests read.</summary>
    private static string Decoded(string page) => page.Replace("&#x202F;", "\u202f", StringComparison.Ordinal);

    private static string Text(string page) => Tag().Replace(page, "");

    [GeneratedRegex("id=\"past-([0-9a-f-]+)\"")]
    private static partial Regex PastId();

    [GeneratedRegex("<title>.*?</title>", RegexOptions.Singleline)]
    private static partial Regex TitleOf();

    [GeneratedRegex("<[^>]*>")]
    private static partial Regex Tag();
}
