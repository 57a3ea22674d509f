using System.Net;
using TankWatch.Core;
using TankWatch.Service.Pages.Units;
using TankWatch.Service.Sites;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

public sealed class UnitPageTests(Served service) : IClassFixture<Served>
{
    [Fact]
    public async Task A_units_line_says_how_it_is_heard()
    {
        var site = await service.AddSiteAsync("Hazel Row");
        await site.PublishAsync(
            ("status", """{"online":true,"firmware":"1.4","signalDbm":-93,"batteryPercent":12,"boot":1,"seq":0}"""),
            ("level", SampleSite.Level(LiveSite.Ago(0), "roof", "110", 1)), ("level", SampleSite.Level(LiveSite.Ago(0), "roof", "111", 4)));
        var page = await ComesAsync($"/units?q={site.Unit}", "2 messages missing, 60.0 % arrived");
        Assert.Contains($"<a href=\"/units/{site.Unit}\">{site.Unit}</a> <span class=\"role\"><bdi>Hazel Row</bdi>", page, StringComparison.Ordinal);
        Assert.Contains("weak, &#x2212;93 dBm; 12 %, low", page, StringComparison.Ordinal);
        Assert.Contains("3 taken, none refused, none came twice", page, StringComparison.Ordinal);
        Assert.Contains("1.4", page, StringComparison.Ordinal);

        var own = await OpenAsync($"/units/{site.Unit}");
        Assert.Contains($"Unit {site.Unit} speaks.", own, StringComparison.Ordinal);
        Assert.Matches("2 messages missing, 60.0 % arrived\\s*, noticed <time ", own);
        Assert.Contains($"<a href=\"/sites/{site.Id}\"><bdi>Hazel Row</bdi></a>", own, StringComparison.Ordinal);
        Assert.Contains("There is none.", own, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_refused_message_is_shown_as_it_came()
    {
        var site = await service.AddSiteAsync();
        await service.ReceiveAsync($"tankwatch/v1/{site.Unit}/level", "{\"tank\":\u0007\u202E<script>\n\0");
        var page = await ComesAsync($"/units/{site.Unit}", "malformed json");
        Assert.Contains("&lt;script&gt;", page, StringComparison.Ordinal);
        Assert.Contains("<span class=\"mark\">U&#x2B;0007</span><span class=\"mark\">U&#x2B;202E</span>&lt;script&gt;<span class=\"mark\">\\n</span>", page, StringComparison.Ordinal);
        Assert.Contains("<span class=\"mark\">U&#x2B;0000</span>", page, StringComparison.Ordinal);
        Assert.DoesNotContain('\0', page);
        Assert.Contains($"tankwatch/v1/{site.Unit}/level", page, StringComparison.Ordinal);
        Assert.DoesNotContain("bytes are shown", page, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_long_message_is_cut_with_a_way_to_the_whole_and_pages_go_on()
    {
        var site = await service.AddSiteAsync();
        var endless = "x" + new string('é', 3000);
        await service.ReceiveAsync($"tankwatch/v1/{site.Unit}/level", endless);
        for (var i = 0; i < 20; i++)
        {
            await service.ReceiveAsync($"tankwatch/v1/{site.Unit}/level", $"no {i}");
        }

        var page = await ComesAsync($"/units/{site.Unit}", "no 19");
        Assert.DoesNotContain("&#xE9;", page, StringComparison.Ordinal);
        var next = WebUtility.HtmlDecode(page[(page.IndexOf("/units/" + site.Unit + "?after=", StringComparison.Ordinal))..]).Split('"', '#')[0];
        var older = await OpenAsync(next);
        Assert.Contains("bytes are shown", older, StringComparison.Ordinal);
        Assert.Equal(2047, older.Split("&#xE9;").Length - 1); // One byte of 4096 is half a letter, and left out.
        var whole = older[older.IndexOf("/api/v1/units/", StringComparison.Ordinal)..].Split('"')[0];
        Assert.Equal(endless, (await service.GetAsync(whole)).Text);
    }

    [Fact]
    public async Task What_came_on_no_units_topic_is_shown_to_those_who_see_every_building()
    {
        await service.ReceiveAsync("tankwatch/v1/no unit\u0007/level", new string('y', 5000));
        var page = await ComesAsync("/refused", "no unit<span class=\"mark\">U&#x2B;0007</span>");
        var whole = page[page.IndexOf("/api/v1/refused/", StringComparison.Ordinal)..].Split('"')[0];
        Assert.Equal(5000, (await service.GetAsync(whole)).Text.Length);
        Assert.Contains("/refused\">", await OpenAsync("/units"), StringComparison.Ordinal);

        var key = service.AddKey("one-site-only", (await service.AddSiteAsync()).Id);
        Assert.Equal(HttpStatusCode.NotFound, (await service.GetAsync("/refused", key)).Status);
        Assert.Equal(HttpStatusCode.NotFound, (await service.GetAsync(whole, key)).Status);
        Assert.DoesNotContain("/refused\">", (await service.GetAsync("/units", key)).Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_unit_that_is_not_there_or_not_this_callers_is_no_page()
    {
        var site = await service.AddSiteAsync("Hazel Row");
        var key = service.AddKey($"other-{site.Id}", (await service.AddSiteAsync()).Id);
        foreach (var (path, who) in ((string, string)[])[("/units/nothing", service.Key), ("/units/no%20unit", service.Key), ($"/units/{site.Unit}", key)])
        {
            var answer = await service.GetAsync(path, who);
            Assert.Equal((HttpStatusCode.NotFound, "text/html"), (answer.Status, answer.MediaType));
        }

        var list = (await service.GetAsync("/units", key)).Text;
        Assert.DoesNotContain(site.Unit, list, StringComparison.Ordinal);
        Assert.DoesNotContain("Hazel", list, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_search_that_finds_nothing_says_so_and_repeats_the_question_as_text()
    {
        var page = await OpenAsync("/units?q=" + Uri.EscapeDataString("\"><b>x"));
        Assert.Contains("No unit has that in its id.", page, StringComparison.Ordinal);
        Assert.DoesNotContain("\"><b>", page, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(1.4, "1.4 s behind ours")]
    [InlineData(-1.4, "1.4 s ahead of ours")]
    [InlineData(0.01, "as ours")]
    [InlineData(-7200, "2 hours ahead of ours")]
    public void A_clock_is_told_by_its_side(double seconds, string words) =>
        Assert.Equal(words, new UnitLine(Unit() with { ClockSkew = TimeSpan.FromSeconds(seconds) }, "").Clock);

    [Fact]
    public void Those_that_somebody_should_look_at_rank_first()
    {
        UnitView[] worstFirst =
        [
            Unit() with { Silent = true }, Unit() with { Online = false }, Unit() with { Refused = 1 }, Unit(),
        ];
        Assert.Equal([0, 1, 2, 3], worstFirst.Select(unit => new UnitLine(unit, "").Rank));
        Assert.Equal(1, new UnitLine(Unit() with { HeardAt = null, Online = null }, "").Rank);
        Assert.Equal("1 message missing, 99.9 % arrived", Assert.Single(new UnitLine(Unit() with { Accepted = 100_000, Missing = 1 }, "").Arrived(null)).Text);
    }

    private static UnitView Unit() => new(
        new("fu-1"), new SiteId("alder-row"), Rig.Noon, Rig.Noon, true, "1.4", -60, 90, null, Missing: 0, MissingSince: null, Accepted: 10, Refused: 0, Duplicates: 0, Silent: false);

    private async Task<string> OpenAsync(string path)
    {
        var answer = await service.GetAsync(path);
        Assert.True((answer.Status, answer.MediaType) == (HttpStatusCode.OK, "text/html"), answer.Text);
        return answer.Text;
    }

    private Task<string> ComesAsync(string path, string words) =>
        Eventually.Comes(() => OpenAsync(path), page => page.Contains(words, StringComparison.Ordinal), $"'{words}' on {path}");
}
