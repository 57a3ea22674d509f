using System.Net;
using System.Text.Json;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>Paging, the same in every list.</summary>
public sealed class ListTests(Served service) : IClassFixture<Served>
{
    [Theory]
    [InlineData("0", false)]
    [InlineData("-1", false)]
    [InlineData("1001", false)]
    [InlineData("99999999999", false)]
    [InlineData("ten", false)]
    [InlineData("1.5", false)]
    [InlineData("1", true)]
    [InlineData("1000", true)]
    public async Task A_limit_is_a_whole_number_from_1_to_1000_in_every_list(string limit, bool holds)
    {
        var site = await service.AddSiteAsync();
        var id = await site.RaiseAsync();
        foreach (var list in (string[])["sites", "alerts", $"alerts/{id}/events", "units", $"units/{site.Unit}/refused", $"sites/{site.Id}/history"])
        {
            var answer = await service.GetAsync($"/api/v1/{list}?limit={limit}");
            if (holds)
            {
                Assert.Equal(HttpStatusCode.OK, answer.Status);
            }
            else
            {
                Assert.Contains("limit", answer.IsProblem(HttpStatusCode.BadRequest).Json.GetProperty("detail").GetString(), StringComparison.Ordinal);
            }
        }
    }

    [Fact]
    public async Task Page_by_page_every_list_gives_the_same_as_at_once()
    {
        var site = await service.AddSiteAsync();
        await service.AddSiteAsync();
        await site.RaiseAsync(probesToo: true);
        await site.PublishAsync(("level", "1"), ("level", "2"), ("level", "3"), ("level", SampleSite.Level(LiveSite.Ago(0.5), "roof", "100", 9)));
        await Eventually.Comes(() => site.GetAsync("now"), now => now.GetProperty("units")[0].GetProperty("refused").GetInt32() == 3, "three refused messages");
        var id = (await site.AlertsAsync(2))[0].GetProperty("id").GetString();
        foreach (var note in (string[])["one", "two"])
        {
            await service.SendAsync("POST", $"/api/v1/alerts/{id}/note", service.Key, $$"""{"note":"{{note}}"}""");
        }

        await AssertPagesAsync("sites", 2);
        await AssertPagesAsync("units", 2);
        await AssertPagesAsync($"alerts?site={site.Id}", 2);
        await AssertPagesAsync($"alerts/{id}/events", 3);
        await AssertPagesAsync($"units/{site.Unit}/refused", 3);
        await AssertPagesAsync($"sites/{site.Id}/history?to={Uri.EscapeDataString(SampleSite.At(LiveSite.Ago(0)))}", 3, "steps");
    }

    [Fact]
    public async Task An_after_that_was_never_given_is_refused_or_ends_the_list()
    {
        var site = await service.AddSiteAsync();
        (await service.GetAsync("/api/v1/sites?after=nowhere")).IsProblem(HttpStatusCode.BadRequest);
        foreach (var list in (string[])["alerts", "units", $"units/{site.Unit}/refused", $"sites/{site.Id}/history"])
        {
            var answer = await service.GetAsync($"/api/v1/{list}?after=%27%20OR%201%3D1--");
            Assert.True(answer.Status is HttpStatusCode.OK or HttpStatusCode.BadRequest, $"{list}: {answer}");
        }
    }

    [Fact]
    public async Task The_list_of_sites_goes_on_where_a_site_was_that_is_gone()
    {
        foreach (var name in (string[])["one", "two", "three"])
        {
            await service.AddSiteAsync(name);
        }

        var all = Ids(await service.GetJsonAsync("/api/v1/sites"));
        var first = await service.GetJsonAsync($"/api/v1/sites?limit={all.Count - 1}");
        await service.SendAsync("DELETE", $"/api/v1/sites/{all[^2]}", service.Key); // The one that the page ended with.
        var rest = await service.GetJsonAsync($"/api/v1/sites?after={Uri.EscapeDataString(first.GetProperty("next").GetString()!)}");
        Assert.Equal([all[^1]], Ids(rest));

        static List<string> Ids(JsonElement page) => [.. page.GetProperty("items").EnumerateArray().Select(site => site.GetProperty("id").GetString()!)];
    }

    private async Task AssertPagesAsync(string list, int atLeast, string items = "items")
    {
        var whole = await service.GetJsonAsync($"/api/v1/{list}");
        Assert.Equal(JsonValueKind.Null, whole.GetProperty("next").ValueKind);
        var expected = whole.GetProperty(items).EnumerateArray().Select(item => item.GetRawText()).ToList();
        Assert.True(expected.Count >= atLeast, $"{list}: {expected.Count}");

        var (paged, after) = (new List<string>(), "");
        for (var page = 0; page < expected.Count; page++)
        {
            var one = await service.GetJsonAsync($"/api/v1/{list}{(list.Contains('?', StringComparison.Ordinal) ? '&' : '?')}limit=1{after}");
            paged.Add(Assert.Single(one.GetProperty(items).EnumerateArray()).GetRawText());
            after = one.GetProperty("next").GetString() is { } next ? $"&after={Uri.EscapeDataString(next)}" : "";
            Assert.Equal(page == expected.Count - 1, after == "");
        }

        Assert.Equal(expected.Select(WithoutClock), paged.Select(WithoutClock));
    }

    /// <summary>A unit's clock skew and the like may move between two requests; what it is may not.</summary>
    private static string WithoutClock(string item)
    {
        var json = JsonSerializer.Deserialize<JsonElement>(item);
        return json.TryGetProperty("clockSkewSeconds", out _) ? json.GetProperty("unit").GetString()! : item;
    }
}
