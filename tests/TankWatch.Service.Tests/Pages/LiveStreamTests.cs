using System.Net;
using System.Text.Json;
using Microsoft.Extensions.Time.Testing;
using TankWatch.Service.Tests.Api;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

/// <summary>What an open page is told, by a clock that only the test turns.</summary>
public sealed class LiveStreamTests : IAsyncLifetime
{
    private static readonly TimeSpan Pause = TimeSpan.FromMilliseconds(100);
    private static readonly TimeSpan Beat = TimeSpan.FromSeconds(10);

    // Three seconds before a whole minute, so that the ticks of a beat settle a minute too.
    private readonly FakeTimeProvider clock = new(new DateTimeOffset(2026, 3, 2, 11, 59, 57, TimeSpan.Zero));
    private Served service = null!;

    public async ValueTask InitializeAsync() => service = await Served.ByClockAsync(clock);

    public async ValueTask DisposeAsync() => await service.DisposeAsync();

    [Fact]
    public async Task A_page_is_told_of_the_site_that_changed_and_of_the_time_but_not_of_mere_ticks()
    {
        var site = await service.AddSiteAsync();
        using var browser = await SignedInAsync(service.Key);
        using var live = await browser.StreamAsync("/live");
        Assert.True(live.Response.Headers.CacheControl is { NoStore: true, NoTransform: true });
        var opening = await live.BlockAsync("the first beat");
        Assert.Equal(("beat", "2026-03-02T11:59:57.000Z", 2000), (opening.Type, opening.Data, opening.Retry));

        await ChangeAsync(site, 1);
        Assert.Equal([site.Id], await ChangedAsync(live));
        for (var second = 1; second <= Beat.TotalSeconds; second++)
        {
            clock.Advance(TimeSpan.FromSeconds(1));
            await Eventually.Holds(() => service.Directory.Find(new(site.Id))!.AsOf == clock.GetUtcNow(), $"tick {second}");
        }

        var beat = await live.EventAsync("a beat");
        Assert.Equal(("beat", "2026-03-02T12:00:07.000Z"), (beat.Type, beat.Data));
        await ChangeAsync(site, 2);
        Assert.Equal([site.Id], await ChangedAsync(live));
    }

    [Fact]
    public async Task What_changes_within_a_tenth_of_a_second_is_told_together_each_site_once()
    {
        var (ash, birch) = (await service.AddSiteAsync(), await service.AddSiteAsync());
        using var live = await LiveAsync("/live");
        await ChangeAsync(ash, 1);
        Assert.Equal([ash.Id], await ChangedAsync(live));
        await ChangeAsync(birch, 1);
        await ChangeAsync(ash, 2);
        await ChangeAsync(birch, 2);
        await service.Directory.RefreshAsync(TestContext.Current.CancellationToken); // All that was sent has been told.
        clock.Advance(Pause);
        Assert.Equal([ash.Id, birch.Id], await ChangedAsync(live));
    }

    [Fact]
    public async Task A_page_is_told_of_what_people_do_about_an_alert_and_of_sites_that_come_and_go()
    {
        using var coming = await LiveAsync("/live");
        var site = await service.AddSiteAsync();
        Assert.Equal([site.Id], await ChangedAsync(coming));
        var now = clock.GetUtcNow();
        await site.PublishAsync(("supply", SampleSite.Supply(now.AddMinutes(-6), false, 1)), ("level", SampleSite.Level(now.AddMinutes(-1), "sump", "110", 2)));
        var alert = (await site.AlertsAsync(1))[0].GetProperty("id").GetString();

        using var live = await LiveAsync("/live");
        var done = await service.SendAsync("POST", $"/api/v1/alerts/{alert}/acknowledge", service.Key);
        Assert.Equal(HttpStatusCode.OK, done.Status);
        Assert.Equal([site.Id], await ChangedAsync(live));
        clock.Advance(Pause);
        Assert.Equal(HttpStatusCode.NoContent, (await service.SendAsync("DELETE", $"/api/v1/sites/{site.Id}", service.Key)).Status);
        Assert.Equal([site.Id], await ChangedAsync(live));
    }

    [Fact]
    public async Task A_page_is_told_of_no_site_that_its_key_does_not_see_nor_of_another_than_it_asked_for()
    {
        var (own, other) = (await service.AddSiteAsync(), await service.AddSiteAsync());
        var key = service.AddKey("live-one-site", own.Id);
        using var browser = await SignedInAsync(key);
        using var seen = await browser.StreamAsync("/live");
        using var asked = await LiveAsync($"/live?site={own.Id}");
        await seen.BlockAsync("the first beat");
        await ChangeAsync(other, 1);
        await ChangeAsync(own, 1);
        Assert.Equal([own.Id], await ChangedAsync(seen));
        Assert.Equal([own.Id], await ChangedAsync(asked));
        (await service.GetAsync($"/live?site={other.Id}", key)).IsProblem(HttpStatusCode.NotFound);
        (await service.GetAsync("/live?site=no%20id")).IsProblem(HttpStatusCode.NotFound);
    }

    [Fact]
    public async Task A_stranger_is_told_nothing_and_a_session_whose_key_is_revoked_no_more()
    {
        (await service.SendAsync("GET", "/live", null)).IsProblem(HttpStatusCode.Unauthorized);
        using var browser = await SignedInAsync(service.AddKey("short-lived"));
        using var live = await browser.StreamAsync("/live");
        await live.BlockAsync("the first beat");
        service.Ledger.RevokeKey("short-lived");
        clock.Advance(Beat);
        await live.EndAsync("its key was revoked");
    }

    [Fact]
    public async Task The_description_of_the_API_leaves_it_out() =>
        Assert.False((await service.GetJsonAsync("/openapi/v1.json")).GetProperty("paths").TryGetProperty("/live", out _));

    private Task ChangeAsync(LiveSite site, int seq) => site.PublishAsync(("level", SampleSite.Level(clock.GetUtcNow(), "roof", "110", seq)));

    /// <summary>Past its first beat.</summary>
    private async Task<EventStreamReader> LiveAsync(string path)
    {
        var live = await service.StreamAsync(path);
        await live.BlockAsync("the first beat");
        return live;
    }

    private Task<Browser> SignedInAsync(string key) => Browser.SignedInAsync(service.Url, key);

    private static async Task<string[]> ChangedAsync(EventStreamReader live)
    {
        var told = await live.EventAsync("a change");
        Assert.Equal("changed", told.Type);
        return JsonSerializer.Deserialize<string[]>(told.Data!)!;
    }
}
