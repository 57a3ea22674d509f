using System.Net;
using System.Text.Json;
using Microsoft.Extensions.Time.Testing;
using TankWatch.Service.Storage;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>The stream of alerts, read as the HTML standard reads one.</summary>
public sealed class AlertStreamTests(Served service) : IClassFixture<Served>
{
    private const string Path = "/api/v1/alerts/stream";
    private static readonly TimeSpan KeepAlive = TimeSpan.FromSeconds(15);

    [Fact]
    public async Task A_raise_and_an_acknowledgement_arrive_in_order_with_ascending_ids()
    {
        var site = await service.AddSiteAsync();
        using var stream = await service.StreamAsync($"{Path}?site={site.Id}");
        Assert.True(stream.Response.Headers.CacheControl is { NoStore: true, NoTransform: true });
        var opening = await stream.BlockAsync("the opening");
        Assert.Equal((3000, null), (opening.Retry, opening.Data));

        var id = await site.RaiseAsync();
        await DoAsync(id, "acknowledge", """{"note":"on my way,\nat once"}""");
        var seen = new List<StreamBlock>();
        while (seen.Count == 0 || TypeOf(seen[^1]) != "acknowledged")
        {
            seen.Add(await stream.EventAsync("the acknowledgement"));
        }

        Assert.Equal("raised", TypeOf(seen[0]));
        Assert.All(seen, block => Assert.Equal(("alert", id), (block.Type, block.Json.GetProperty("alert").GetProperty("id").GetString())));
        Assert.All(seen.Zip(seen.Skip(1)), pair => Assert.True(pair.First.Position < pair.Second.Position));
        Assert.True(opening.Position < seen[0].Position);

        var (happened, alert) = (seen[^1].Json.GetProperty("event"), seen[^1].Json.GetProperty("alert"));
        Assert.Equal(("all-sites", "on my way,\nat once"), (happened.GetProperty("by").GetString(), happened.GetProperty("note").GetString()));
        var listed = (await service.GetJsonAsync($"/api/v1/alerts/{id}/events")).GetProperty("items").EnumerateArray();
        Assert.Contains(listed, item => JsonElement.DeepEquals(item, happened));
        Assert.True(JsonElement.DeepEquals(await service.GetJsonAsync($"/api/v1/alerts/{id}"), alert));
    }

    [Fact]
    public async Task Whoever_was_cut_off_gets_exactly_what_was_missed_also_over_a_restart()
    {
        await using var own = new Served();
        await own.InitializeAsync();
        var id = await (await own.AddSiteAsync()).RaiseAsync();
        string cutOffAt;
        using (var stream = await own.StreamAsync(Path))
        {
            cutOffAt = (await stream.BlockAsync("the opening")).LastEventId; // Cut off before the first event.
        }

        var missed = Enumerable.Range(1, 60).Select(n => $"missed {n}").ToList(); // More than are read at once.
        foreach (var note in missed)
        {
            await NoteAsync(own, id, note);
        }

        await own.RestartAsync();
        using var resumed = await own.StreamAsync(Path, cutOffAt);
        var notes = new List<StreamBlock>();
        while (notes.Count < missed.Count)
        {
            notes.Add(await resumed.EventAsync($"note {notes.Count + 1}"));
        }

        Assert.Equal(missed, notes.Select(NoteOf));
        await NoteAsync(own, id, "live");
        Assert.Equal("live", NoteOf(await resumed.EventAsync("the note after the restart")));

        using var later = await own.StreamAsync(Path, notes[^2].LastEventId);
        Assert.Equal([missed[^1], "live"], [NoteOf(await later.EventAsync("the last note missed")), NoteOf(await later.EventAsync("the live one"))]);
        await NoteAsync(own, id, "the end");
        Assert.Equal("the end", NoteOf(await later.EventAsync("nothing twice")));
    }

    [Fact]
    public async Task A_key_of_one_site_gets_the_events_of_that_site_alone_and_a_filter_those_of_its_kind()
    {
        var (own, other) = (await service.AddSiteAsync(), await service.AddSiteAsync());
        var key = service.AddKey("streams-one-site", own.Id);
        using var live = await service.StreamAsync(Path, key: key);
        await other.RaiseAsync();
        await own.RaiseAsync(probesToo: true);
        await DoAsync((await own.AlertsAsync(2))[0].GetProperty("id").GetString()!, "note", """{"note":"last"}""");
        using var all = await service.StreamAsync(Path, "0", key);
        using var ofKind = await service.StreamAsync($"{Path}?site={own.Id}&kind=probe-fault", "0");
        Assert.All(await UntilAsync(live, "last"), block => Assert.Equal(own.Id, AlertOf(block, "site")));
        Assert.All(await UntilAsync(all, "last"), block => Assert.Equal(own.Id, AlertOf(block, "site")));
        Assert.Equal(("raised", "probe-fault"), (await ofKind.EventAsync("the probe fault") is var first ? TypeOf(first) : "", AlertOf(first, "kind")));
        var probe = AlertOf(first, "id");
        await DoAsync((await own.AlertsAsync(2)).Select(alert => alert.GetProperty("id").GetString()!).First(id => id != probe), "note", """{"note":"not of this kind"}""");
        await DoAsync(probe, "note", """{"note":"of this kind"}""");
        Assert.All(await UntilAsync(ofKind, "of this kind"), block => Assert.Equal("probe-fault", AlertOf(block, "kind")));
    }

    [Theory]
    [InlineData("-1")]
    [InlineData("1.5")]
    [InlineData("1,2")]
    [InlineData("abc")]
    [InlineData("+1")]
    [InlineData("٣")]
    [InlineData("")]
    [InlineData("99999999999999999999")]
    public async Task An_id_that_is_no_position_is_refused(string lastEventId)
    {
        using var client = new HttpClient(new SocketsHttpHandler { RequestHeaderEncodingSelector = (_, _) => System.Text.Encoding.UTF8 });
        using var request = new HttpRequestMessage(HttpMethod.Get, service.Url + Path) { Headers = { { "Authorization", $"Bearer {service.Key}" } } };
        Assert.True(request.Headers.TryAddWithoutValidation("Last-Event-ID", lastEventId));
        using var answer = await client.SendAsync(request, HttpCompletionOption.ResponseHeadersRead, TestContext.Current.CancellationToken);
        Assert.Equal(HttpStatusCode.BadRequest, answer.StatusCode);
        Assert.Equal("application/problem+json", answer.Content.Headers.ContentType?.MediaType);
    }

    [Theory]
    [InlineData("?kind=odd", HttpStatusCode.BadRequest)]
    [InlineData("?site=nowhere", HttpStatusCode.NotFound)]
    [InlineData("?site=%20", HttpStatusCode.NotFound)]
    public async Task A_filter_that_names_nothing_is_refused_before_the_stream_begins_and_a_stranger_before_that(string query, HttpStatusCode withKey)
    {
        (await service.GetAsync(Path + query)).IsProblem(withKey);
        (await service.SendAsync("GET", Path + query, null)).IsProblem(HttpStatusCode.Unauthorized);
    }

    [Fact]
    public async Task A_position_ahead_of_the_store_goes_on_from_the_present()
    {
        using var stream = await service.StreamAsync(Path, long.MaxValue.ToString(System.Globalization.CultureInfo.InvariantCulture));
        Assert.InRange((await stream.BlockAsync("the opening")).Position, 0, service.Ledger.ReadAlertPosition());
    }

    [Fact]
    public async Task A_stream_is_kept_alive_until_its_key_is_revoked()
    {
        var clock = new FakeTimeProvider(TimeProvider.System.GetUtcNow());
        await using var own = await Served.ByClockAsync(clock);
        using var stream = await own.StreamAsync(Path, key: own.AddKey("short-lived"));
        await stream.BlockAsync("the opening");
        for (var beat = 0; beat < 2; beat++)
        {
            clock.Advance(KeepAlive);
            var block = await stream.BlockAsync("a comment");
            Assert.Equal((null, 1), (block.Data, block.Comments.Count));
        }

        Assert.True(own.Ledger.RevokeKey("short-lived"));
        clock.Advance(KeepAlive);
        await stream.EndAsync("its key was revoked");
    }

    [Fact]
    public async Task A_service_that_stops_does_not_wait_for_open_streams_and_ends_them_in_order()
    {
        await using var own = new Served();
        await own.InitializeAsync();
        var streams = new List<EventStreamReader>();
        for (var n = 0; n < 10; n++)
        {
            streams.Add(await own.StreamAsync(n % 2 == 0 ? Path : "/live"));
            await streams[n].BlockAsync("the opening");
        }

        await own.StopAsync().WaitAsync(TimeSpan.FromSeconds(60), TimeProvider.System, TestContext.Current.CancellationToken);
        foreach (var stream in streams)
        {
            await stream.EndAsync("the service stops");
            stream.Dispose();
        }
    }

    [Fact]
    public async Task A_client_that_does_not_read_holds_up_neither_another_nor_the_end()
    {
        await using var own = new Served();
        await own.InitializeAsync();
        var id = await (await own.AddSiteAsync()).RaiseAsync();
        own.Store.Write(c => // Ten megabytes of notes: more than the buffers on the way hold.
        {
            const string Count = "WITH RECURSIVE count(n) AS (SELECT 1000 UNION ALL SELECT n + 1 FROM count WHERE n < 6000) ";
            c.Execute($"INSERT INTO alert_events (alert, n, at, type, json) {Count} SELECT ?1, n, 0, 'noted', ?2 FROM count", id, $$"""{"note":"{{new string('x', 2000)}}"}""");
            c.Execute($"INSERT INTO alert_log (alert, n) {Count} SELECT ?1, n FROM count", id);
        });
        using var idle = new System.Net.Sockets.TcpClient { ReceiveBufferSize = 4096 };
        await idle.ConnectAsync("127.0.0.1", new Uri(own.Url).Port, TestContext.Current.CancellationToken);
        await idle.GetStream().WriteAsync(
            System.Text.Encoding.ASCII.GetBytes($"GET {Path} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {own.Key}\r\nLast-Event-ID: 0\r\n\r\n"),
            TestContext.Current.CancellationToken);

        using var reading = await own.StreamAsync(Path, "0");
        for (var n = 0; n < 5000; n++)
        {
            await reading.EventAsync($"event {n}");
        }

        await own.StopAsync().WaitAsync(TimeSpan.FromSeconds(60), TimeProvider.System, TestContext.Current.CancellationToken);
    }

    private async Task DoAsync(string id, string action, string body)
    {
        var answer = await service.SendAsync("POST", $"/api/v1/alerts/{id}/{action}", service.Key, body);
        Assert.True(answer.Status == HttpStatusCode.OK, answer.ToString());
    }

    private static async Task NoteAsync(Served own, string id, string note) => Assert.Equal(
        HttpStatusCode.OK, (await own.SendAsync("POST", $"/api/v1/alerts/{id}/note", own.Key, JsonSerializer.Serialize(new { note }))).Status);

    private static async Task<List<StreamBlock>> UntilAsync(EventStreamReader stream, string note)
    {
        var seen = new List<StreamBlock>();
        while (seen.Count == 0 || NoteOf(seen[^1]) != note)
        {
            seen.Add(await stream.EventAsync($"the note '{note}'"));
        }

        return seen;
    }

    private static string TypeOf(StreamBlock block) => block.Json.GetProperty("event").GetProperty("type").GetString()!;

    private static string? NoteOf(StreamBlock block) => block.Json.GetProperty("event").GetProperty("note").GetString();

    private static string AlertOf(StreamBlock block, string member) => block.Json.GetProperty("alert").GetProperty(member).GetString()!;
}
