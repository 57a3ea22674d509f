using System.Globalization;
using System.IO.Compression;
using System.Net;
using System.Text;
using System.Text.RegularExpressions;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

/// <summary>The page of all buildings, as a browser without script gets it.</summary>
public sealed partial class EstatePageTests(Served service) : IClassFixture<Served>
{
    [Fact]
    public async Task Who_needs_somebody_and_why_is_said_first_and_then_building_by_building()
    {
        var site = await service.AddSiteAsync("Ternhouse");
        var id = await site.RaiseAsync();
        using var browser = await SignedInAsync(service.AddKey("of-ternhouse", site.Id));
        var page = await Eventually.Comes(() => browser.OpenAsync(), page => page.Contains($"/alerts/{id}", StringComparison.Ordinal), "the alert");
        Assert.Equal("Ternhouse needs a hand: its mains are off.", Opening(page));
        var building = Building(page, site.Id);
        Assert.Contains($"<a href=\"/sites/{site.Id}\"><bdi>Ternhouse</bdi></a>", building, StringComparison.Ordinal);
        Assert.Contains("<b class=\"word\">Needs a hand</b>", building, StringComparison.Ordinal);
        Assert.Contains($"<a href=\"/alerts/{id}\"><span class=\"own\">The mains are off at Ternhouse; no pump can run there.</span></a>", building, StringComparison.Ordinal);
        var text = Text(building);
        Assert.Contains("Not acknowledged.", text, StringComparison.Ordinal);
        Assert.Contains("Tank roof holds between 1\u202f500 and 3\u202f900 litres.", text, StringComparison.Ordinal);
        Assert.Contains("Nothing is known of pump p1 yet.", text, StringComparison.Ordinal);
        Assert.Matches("Last word at [0-9:]+, <time datetime=\"[0-9TZ:.-]+\" data-ago>.+</time>\\.", building);
    }

    [Fact]
    public async Task Acknowledging_from_the_list_leads_back_to_the_same_list()
    {
        var site = await service.AddSiteAsync("Água Alta");
        var id = await site.RaiseAsync();
        using var browser = await SignedInAsync(service.AddKey("of-agua", site.Id));
        await Eventually.Comes(() => browser.OpenAsync(), page => page.Contains($"/alerts/{id}", StringComparison.Ordinal), "the alert");
        var page = await browser.OpenAsync("/?q=%C3%A1gua&wrong=any");
        var back = WebUtility.HtmlDecode(Back().Match(page).Groups[1].Value);
        Assert.Equal($"/?q=%C3%A1gua&wrong=any#b-{site.Id}", back);
        Assert.Contains($"action=\"/alerts/{id}/acknowledge\"", page, StringComparison.Ordinal);
        using var answer = await browser.SendAsync(page, $"/alerts/{id}/acknowledge", ("note", ""), ("back", back));
        Assert.Equal((HttpStatusCode.Redirect, back), (answer.StatusCode, answer.Headers.Location?.OriginalString));
        page = await Eventually.Comes(() => browser.OpenAsync(back), page => page.Contains("Acknowledged by <bdi>of-agua</bdi>", StringComparison.Ordinal), "who acknowledged");
        Assert.DoesNotContain("<details", page, StringComparison.Ordinal);
        Assert.Equal("1 of 1 building matches “água”. Água Alta is in hand: its mains are off.", Opening(page));
    }

    [Theory]
    [InlineData("//evil.example")]
    [InlineData("/\\evil.example")]
    [InlineData("/\t/evil.example")]
    [InlineData("https://evil.example")]
    [InlineData("javascript:alert(1)")]
    [InlineData("evil.example")]
    [InlineData("/\r\nSet-Cookie: a=b")]
    [InlineData("")]
    public async Task Acknowledging_leads_to_no_page_but_ours(string back)
    {
        var site = await service.AddSiteAsync();
        var id = await site.RaiseAsync();
        using var browser = await SignedInAsync(service.Key);
        using var answer = await browser.SendAsync(await browser.OpenAsync(), $"/alerts/{id}/acknowledge", ("back", back));
        Assert.Equal((HttpStatusCode.Redirect, $"/alerts/{id}"), (answer.StatusCode, answer.Headers.Location?.OriginalString));
        Assert.False(answer.Headers.Contains("Set-Cookie"));
    }

    [Fact]
    public async Task What_another_has_is_neither_seen_nor_counted_nor_found()
    {
        var other = await service.AddSiteAsync("Somebody Else");
        await other.RaiseAsync();
        var mine = await service.AddSiteAsync("Mine");
        using var browser = await SignedInAsync(service.AddKey("of-mine", mine.Id));
        var page = await browser.OpenAsync();
        Assert.Equal("Nothing has been heard of Mine yet.", Opening(page));
        Assert.DoesNotContain("Somebody", page, StringComparison.Ordinal);
        Assert.DoesNotContain("Power cut", page, StringComparison.Ordinal);
        Assert.Equal("No building matches “somebody”.", Opening(await browser.OpenAsync("/?q=somebody")));
        Assert.Equal("Power cut: none of 1 building has this now.", Opening(await browser.OpenAsync("/?wrong=power-failure")));
    }

    [Theory]
    [InlineData("/?wrong=rust", "The list cannot be narrowed to “rust”.")]
    [InlineData("/?wrong=%3Cscript%3E", "The list cannot be narrowed to “<script>”.")]
    [InlineData("/?after=nowhere", "This part of the list cannot be found.")]
    [InlineData("/?q=%ED%A0%80&wrong=rust", "The list cannot be narrowed to “rust”.")]
    public async Task A_bad_address_is_told_in_place_with_a_way_out(string address, string opening)
    {
        await service.AddSiteAsync();
        using var browser = await SignedInAsync(service.Key);
        var page = await browser.OpenAsync(address, HttpStatusCode.BadRequest);
        Assert.Equal(opening, Opening(page));
        Assert.Contains("<a href=\"/\">All buildings, from the start</a>", page, StringComparison.Ordinal);
        Assert.DoesNotContain("<script>", page, StringComparison.OrdinalIgnoreCase);
    }

    [Theory]
    [InlineData("<script>alert(1)</script>")]
    [InlineData("\" onfocus=\"alert(1)")]
    [InlineData("\u202Etxet")]
    [InlineData("' OR 1=1 --")]
    [InlineData("\0")]
    public async Task Whatever_is_searched_for_stays_text(string typed)
    {
        await service.AddSiteAsync();
        using var browser = await SignedInAsync(service.Key);
        var page = await browser.OpenAsync("/?q=" + Uri.EscapeDataString(typed));
        Assert.StartsWith("No building matches “", Opening(page), StringComparison.Ordinal);
        Assert.DoesNotContain("<script>", page, StringComparison.OrdinalIgnoreCase);
        Assert.DoesNotContain("\" onfocus=", page, StringComparison.Ordinal);
        Assert.DoesNotContain('\u202E', page);
    }

    [Fact]
    public async Task A_full_page_is_small_and_leads_on()
    {
        var demo = await Served.AsDemoAsync();
        try
        {
            for (var i = 0; i < 30; i++)
            {
                await demo.AddSiteAsync(string.Create(CultureInfo.InvariantCulture, $"House {i}"));
            }

            using var browser = new Browser(demo.Url);
            var page = await browser.OpenAsync();
            Assert.Equal(25, Article().Count(page));
            Assert.Contains("1 to 25 of 30", page, StringComparison.Ordinal);
            var next = WebUtility.HtmlDecode(Next().Match(page).Groups[1].Value);
            var second = await browser.OpenAsync(next);
            Assert.Equal(5, Article().Count(second));
            Assert.Contains("26 to 30 of 30", second, StringComparison.Ordinal);
            Assert.Contains("From the start", second, StringComparison.Ordinal);
            Assert.InRange(Compressed(page), 1, 8 * 1024);
        }
        finally
        {
            await demo.DisposeAsync();
        }
    }

    private Task<Browser> SignedInAsync(string key) => Browser.SignedInAsync(service.Url, key);

    private static string Opening(string page) => Text(Heading().Match(page).Groups[1].Value);

    private static string Building(string page, string id) =>
        page.Split("<article ").Single(part => part.StartsWith($"id=\"b-{id}\"", StringComparison.Ordinal)).Split("</article>")[0];

    private static string Text(string html) => Blanks().Replace(WebUtility.HtmlDecode(Tag().Replace(html, "")), " ").Trim();

    private static long Compressed(string page)
    {
        using var target = new MemoryStream();
        using (var gzip = new GZipStream(target, CompressionLevel.Fastest, leaveOpen: true))
        {
            gzip.Write(Encoding.UTF8.GetBytes(page));
        }

        return target.Length;
    }

    [GeneratedRegex("<h1[^>]*>(.*?)</h1>", RegexOptions.Singleline)]
    private static partial Regex Heading();

    [GeneratedRegex("<[^>]+>")]
    private static partial Regex Tag();

    [GeneratedRegex("[ \\n\\r\\t]+")]
    private static partial Regex Blanks();

    [GeneratedRegex("name=\"back\" value=\"([^\"]+)\"")]
    private static partial Regex Back();

    [GeneratedRegex("<article ")]
    private static partial Regex Article();

    [GeneratedRegex("<a href=\"([^\"]+)\" rel=\"next\"")]
    private static partial Regex Next();
}
