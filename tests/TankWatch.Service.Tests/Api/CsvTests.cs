using System.Net;
using System.Net.Http.Headers;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>History and summary for a spreadsheet.</summary>
public sealed class CsvTests(Served service) : IClassFixture<Served>
{
    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_history_is_all_of_the_time_asked_for_oldest_first_with_the_figures_of_the_JSON()
    {
        var site = await RunOnceAsync();
        using var response = await GetAsync($"/api/v1/sites/{site.Id}/history?from=0001-01-01T00:00:00Z", "text/csv");
        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        Assert.Equal("text/csv; charset=utf-8; header=present", response.Content.Headers.ContentType?.ToString());
        Assert.Equal($"{site.Id}-history.csv", response.Content.Headers.ContentDisposition?.FileName);
        Assert.Contains("Accept", response.Headers.Vary);
        var text = await response.Content.ReadAsStringAsync(Stop);
        Assert.NotEqual('\uFEFF', text[0]);
        Assert.Equal(text.Count(c => c == '\n'), text.Split("\r\n").Length - 1);
        var lines = text.Split("\r\n", StringSplitOptions.RemoveEmptyEntries);
        Assert.StartsWith("time (UTC),record,device,wet probes,", lines[0], StringComparison.Ordinal);
        Assert.Equal(4, lines.Length);
        Assert.Equal(["step", "run", "step"], lines[1..].Select(line => line.Split(',')[1]));
        Assert.Equal(lines[1..].Order(StringComparer.Ordinal), lines[1..]);
        Assert.All(lines[1..], line => Assert.True(Core.Time.Rfc3339.TryParse(line.Split(',')[0], out _) && line.Split(',')[0].EndsWith('Z')));
        Assert.EndsWith(",roof,1,1 0 0,,,,,,,,,", lines[1], StringComparison.Ordinal);
        var json = (await service.GetJsonAsync($"/api/v1/sites/{site.Id}/history")).GetProperty("runs")[0];
        Assert.StartsWith($"{json.GetProperty("startedAt").GetString()},run,p1,,,{json.GetProperty("stoppedAt").GetString()},level,level,", lines[2], StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_long_history_has_every_step_once_across_parts_and_days()
    {
        var site = await service.AddSiteAsync();
        var first = TimeProvider.System.GetUtcNow().AddDays(-5);
        await site.PublishAsync([.. Enumerable.Range(0, 1200).Select(n => ("level", SampleSite.Level(first.AddMinutes(6 * n), "roof", n % 2 == 0 ? "100" : "110", n)))]);
        using var response = await GetAsync($"/api/v1/sites/{site.Id}/history?from={first.AddDays(-600):yyyy-MM-dd}T00:00:00Z", "text/csv");
        var lines = (await response.Content.ReadAsStringAsync(Stop)).Split("\r\n", StringSplitOptions.RemoveEmptyEntries);
        Assert.Equal(1201, lines.Length);
        Assert.Equal(lines[1..].Distinct().Order(StringComparer.Ordinal), lines[1..]);
    }

    [Theory]
    [InlineData("day", 2)]
    [InlineData("month", 2)]
    public async Task A_summary_has_a_row_for_each_pump_and_tank(string period, int rows)
    {
        var site = await RunOnceAsync();
        using var response = await GetAsync($"/api/v1/sites/{site.Id}/summary?period={period}", "text/csv");
        var lines = (await response.Content.ReadAsStringAsync(Stop)).Split("\r\n", StringSplitOptions.RemoveEmptyEntries);
        Assert.StartsWith("site,period,from,to,complete,days known,device,starts,run time (s),", lines[0], StringComparison.Ordinal);
        Assert.InRange(lines.Length, 1 + rows, 1 + (2 * rows));
        Assert.All(lines, line => Assert.Equal(lines[0].Count(c => c == ','), line.Count(c => c == ',')));

        // The run was minutes ago: in the first minutes of a day or month it is of the one before.
        Assert.Contains(lines, line => line.Contains(",p1,", StringComparison.Ordinal)
            && ((string[])["current", "previous"]).Any(which => line.StartsWith($"{site.Id},{which} {period},", StringComparison.Ordinal)));
        Assert.StartsWith($"{site.Id}-{period}-", response.Content.Headers.ContentDisposition?.FileName, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("text/csv", "text/csv")]
    [InlineData("text/csv;q=0.5, application/json;q=0.4", "text/csv")]
    [InlineData("application/json, text/csv;q=0.9", "application/json")]
    [InlineData("text/csv;q=0", "application/json")]
    [InlineData("*/*", "application/json")]
    [InlineData("text/csv, */*;q=0.1", "text/csv")]
    public async Task Who_names_CSV_gets_it_and_everybody_else_JSON(string accept, string mediaType)
    {
        var site = await service.AddSiteAsync();
        foreach (var path in (string[])["history", "summary"])
        {
            using var response = await GetAsync($"/api/v1/sites/{site.Id}/{path}", accept);
            Assert.Equal(mediaType, response.Content.Headers.ContentType?.MediaType);
            Assert.Contains("Accept", response.Headers.Vary);
        }
    }

    [Theory]
    [InlineData("limit=5", "limit")]
    [InlineData("after=1-1", "after")]
    [InlineData("from=2026-03-02T00:00:00Z&to=2026-03-01T00:00:00Z", "before")]
    public async Task What_CSV_cannot_do_is_a_problem(string query, string says)
    {
        var site = await service.AddSiteAsync();
        using var response = await GetAsync($"/api/v1/sites/{site.Id}/history?{query}", "text/csv");
        Assert.Equal((HttpStatusCode.BadRequest, "application/problem+json"), (response.StatusCode, response.Content.Headers.ContentType?.MediaType));
        Assert.Contains(says, await response.Content.ReadAsStringAsync(Stop), StringComparison.Ordinal);
    }

    /// <summary>CHECKS J5, RFC 4180 sections 2.5 to 2.7; and text that a spreadsheet would take for a formula.</summary>
    [Fact]
    public async Task Text_is_quoted_where_it_must_be_and_is_no_formula()
    {
        var context = new Microsoft.AspNetCore.Http.DefaultHttpContext();
        using var body = new MemoryStream();
        context.Response.Body = body;
        await new Service.Api.Csv.CsvResult(
            "x", ["a (L)", "b", "c"],
            [["=1+2", "+1", "-x"], ["@SUM(A1)", "\tx", "a,b"], ["say \"no\"", "two\r\nlines", -5.5], [null, true, "é"]]).ExecuteAsync(context);
        Assert.Equal(
            "a (L),b,c\r\n\"'=1+2\",\"'+1\",\"'-x\"\r\n\"'@SUM(A1)\",\"'\tx\",\"a,b\"\r\n\"say \"\"no\"\"\",\"two\r\nlines\",-5.5\r\n,true,é\r\n",
            System.Text.Encoding.UTF8.GetString(body.ToArray()));
    }

    [Fact]
    public async Task The_OpenAPI_document_has_both_answers()
    {
        var paths = (await service.GetJsonAsync("/openapi/v1.json")).GetProperty("paths");
        foreach (var path in (string[])["/api/v1/sites/{site}/history", "/api/v1/sites/{site}/summary"])
        {
            var content = paths.GetProperty(path).GetProperty("get").GetProperty("responses").GetProperty("200").GetProperty("content");
            Assert.Equal(["application/json", "text/csv"], content.EnumerateObject().Select(type => type.Name).Order(StringComparer.Ordinal));
        }
    }

    private async Task<HttpResponseMessage> GetAsync(string path, string accept)
    {
        using var client = new HttpClient();
        using var request = new HttpRequestMessage(HttpMethod.Get, service.Url + path);
        request.Headers.Authorization = new AuthenticationHeaderValue("Bearer", service.Key);
        Assert.True(request.Headers.TryAddWithoutValidation("Accept", accept));
        return await client.SendAsync(request, Stop);
    }

    private async Task<LiveSite> RunOnceAsync()
    {
        var site = await service.AddSiteAsync();
        await site.PublishAsync(
            ("level", SampleSite.Level(LiveSite.Ago(30), "roof", "100", 1)), ("pump", SampleSite.Pump(LiveSite.Ago(20), true, 2)),
            ("level", SampleSite.Level(LiveSite.Ago(12), "roof", "110", 3)), ("pump", SampleSite.Pump(LiveSite.Ago(10), false, 4)));
        await Eventually.Comes(
            () => service.GetJsonAsync($"/api/v1/sites/{site.Id}/history"), history => history.GetProperty("runs").GetArrayLength() == 1, "the run");
        return site;
    }
}
