using System.Net;
using System.Text.RegularExpressions;
using TankWatch.Service.Tests.Api;
using Xunit;

namespace TankWatch.Service.Tests.Pages;

/// <summary>As much of a browser as a page without script needs: it keeps cookies and sends forms.</summary>
internal sealed partial class Browser : IDisposable
{
    private readonly CookieContainer cookies = new();
    private readonly HttpClient client;

    /// <param name="url">Of the service.</param>
    /// <param name="language">That it asks for; null for none.</param>
    public Browser(string url, string? language = null) => client = new(new HttpClientHandler { CookieContainer = cookies, AllowAutoRedirect = false })
    {
        BaseAddress = new Uri(url), DefaultRequestHeaders = { { "Accept", "text/html" }, { "Accept-Language", language ?? "*" } },
    };

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    /// <summary>One that has given its key.</summary>
    public static async Task<Browser> SignedInAsync(string url, string key, string? language = null)
    {
        var browser = new Browser(url, language);
        (await browser.SendAsync(await browser.OpenDoorAsync(), "/sign-in", ("key", key))).Dispose();
        return browser;
    }

    /// <summary>What a stranger sees, wherever they go.</summary>
    public Task<string> OpenDoorAsync() => OpenAsync("/");

    public async Task<string> OpenAsync(string path = "/", HttpStatusCode status = HttpStatusCode.OK)
    {
        using var response = await client.GetAsync(path, Stop);
        Assert.Equal(status, response.StatusCode);
        Assert.Equal("text/html", response.Content.Headers.ContentType?.MediaType);
        return await response.Content.ReadAsStringAsync(Stop);
    }

    /// <summary>Sends a form of the page that was opened last.</summary>
    /// <param name="page">For its token; null to leave the token out.</param>
    /// <param name="action">Where the form goes.</param>
    /// <param name="fields">What was typed.</param>
    public async Task<HttpResponseMessage> SendAsync(string? page, string action, params (string Name, string Value)[] fields)
    {
        var form = fields.ToDictionary(field => field.Name, field => field.Value);
        if (page is not null)
        {
            form["__RequestVerificationToken"] = WebUtility.HtmlDecode(Token().Match(page).Groups[1].Value);
        }

        using var content = new FormUrlEncodedContent(form);
        return await client.PostAsync(action, content, Stop);
    }

    /// <summary>Opens a stream of server-sent events.</summary>
    public async Task<EventStreamReader> StreamAsync(string path)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, path);
        return await EventStreamReader.OpenAsync(client, request);
    }

    public void Dispose() => client.Dispose();

    [GeneratedRegex("name=\"__RequestVerificationToken\" value=\"([^\"]+)\"")]
    private static partial Regex Token();
}
