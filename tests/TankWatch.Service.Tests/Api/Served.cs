using System.Globalization;
using System.Net;
using System.Net.Http.Headers;
using System.Text;
using System.Text.Json;
using Microsoft.AspNetCore.Builder;
using Microsoft.Extensions.Configuration;
using Microsoft.Extensions.DependencyInjection;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Service.Configuration;
using TankWatch.Service.Operation;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Mail;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.Api;

/// <summary>The whole service, really started: its pages and API on a free port, its broker on another, its store in a folder of its own.</summary>
public sealed class Served : IAsyncLifetime
{
    private readonly string folder = System.IO.Directory.CreateTempSubdirectory("served-").FullName;
    private readonly int mqttPort = MailServer.FreePort();
    private readonly bool demo;
    private readonly TimeProvider? time;
    private readonly HttpClient client = new(new HttpClientHandler { AllowAutoRedirect = false, UseCookies = false });
    private WebApplication app = null!;
    private int sites;

    public Served() : this(demo: false)
    {
    }

    private Served(bool demo, TimeProvider? time = null) => (this.demo, this.time) = (demo, time);

    /// <summary>As mails give it.</summary>
    public const string PublicUrl = "https://water.example/tanks";

    public string Url { get; private set; } = "";

    /// <summary>Sees every site.</summary>
    public string Key { get; private set; } = "";

    /// <summary>Takes a message in as a broker hands it over, whatever its topic.</summary>
    public Task ReceiveAsync(string topic, string payload) => app.Services.GetRequiredService<SiteInbox>()
        .ReceiveAsync(new(topic, System.Text.Encoding.UTF8.GetBytes(payload), Retained: false, TimeProvider.System.GetUtcNow()), Stop);

    internal SiteDirectory Directory => app.Services.GetRequiredService<SiteDirectory>();

    internal Database Store => app.Services.GetRequiredService<Database>();

    internal LedgerStore Ledger => app.Services.GetRequiredService<LedgerStore>();

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    /// <summary>As <c>demo</c> runs it, without its simulated estate.</summary>
    public static async Task<Served> AsDemoAsync()
    {
        var served = new Served(demo: true);
        await served.InitializeAsync();
        return served;
    }

    /// <summary>By a clock that only the test turns.</summary>
    public static async Task<Served> ByClockAsync(TimeProvider time)
    {
        var served = new Served(demo: false, time);
        await served.InitializeAsync();
        return served;
    }

    public async ValueTask InitializeAsync()
    {
        await StartAsync();
        Key = AddKey("all-sites");
    }

    public Task StopAsync() => app.StopAsync(CancellationToken.None);

    /// <summary>Ends the service and starts it again on the same store; its address changes.</summary>
    public async Task RestartAsync()
    {
        await StopAsync();
        await app.DisposeAsync();
        await StartAsync();
    }

    private async Task StartAsync()
    {
        var settings = new Settings();
        settings.Data.Path = folder;
        settings.Http.Urls = "http://127.0.0.1:0";
        settings.Http.PublicUrl = demo ? null : PublicUrl;
        settings.Mqtt.ListenPort = mqttPort;
        settings.Webhooks.AllowHttp = settings.Webhooks.AllowPrivateTargets = true; // Targets of tests are on this machine.
        var quiet = new ConfigurationBuilder().AddInMemoryCollection(new Dictionary<string, string?>
        {
            ["Serilog:MinimumLevel:Default"] = "Fatal", ["Serilog:MinimumLevel:Override:Microsoft"] = "Fatal",
            ["Serilog:MinimumLevel:Override:Microsoft.Hosting.Lifetime"] = "Fatal",
        }).Build();
        app = ServeHost.Build(new ServiceShape(settings, quiet, demo), time);
        await app.StartAsync(CancellationToken.None);
        await app.Services.GetRequiredService<SiteKeeper>().Read;
        Url = Hosting.Address(app);
    }

    public async ValueTask DisposeAsync()
    {
        client.Dispose();
        await app.StopAsync(CancellationToken.None);
        await app.DisposeAsync();
        System.IO.Directory.Delete(folder, recursive: true);
    }

    public string AddKey(string name, string? site = null) =>
        Ledger.AddKey(name, "operator", site is null ? null : new(site)).Secret ?? throw new InvalidOperationException(name);

    /// <summary>A site of its own for one test, with a unit that may speak.</summary>
    /// <param name="name">As people call it.</param>
    /// <param name="language">Of its caretaker.</param>
    public async Task<LiveSite> AddSiteAsync(string name = "Alder Row", string language = "en")
    {
        var number = Interlocked.Increment(ref sites).ToString("000", CultureInfo.InvariantCulture);
        var (id, unit) = ($"site-{number}", $"fu-{number}");
        var json = SampleSite.Json(id, unit, JsonEncodedText.Encode(name).ToString(), SampleSite.Caretaker(language));
        Assert.Null(Ledger.PutSite(SampleSite.Plan(json), json));
        await app.Services.GetRequiredService<SiteDirectory>().RefreshAsync(Stop);
        return new(this, id, unit, Ledger.AddUnit(new(unit), new(id)).Secret!);
    }

    /// <param name="method">Such as GET.</param>
    /// <param name="path">From the root on.</param>
    /// <param name="key">Null for a stranger.</param>
    /// <param name="body">Null for none.</param>
    /// <param name="mediaType">Of the body.</param>
    public async Task<Answer> SendAsync(string method, string path, string? key, string? body = null, string mediaType = "application/json")
    {
        using var request = new HttpRequestMessage(new HttpMethod(method), Url + path);
        request.Headers.Authorization = key is null ? null : new AuthenticationHeaderValue("Bearer", key);
        request.Content = body is null ? null : new StringContent(body, Encoding.UTF8, mediaType);
        request.Headers.ExpectContinue = body?.Length > 1024 * 1024; // As good clients do: a body that is refused is not under way when the connection closes.
        using var response = await client.SendAsync(request, Stop);
        return new(response.StatusCode, response.Content.Headers.ContentType?.MediaType, await response.Content.ReadAsStringAsync(Stop), response.Headers);
    }

    /// <summary>Opens a stream of server-sent events.</summary>
    /// <param name="path">From the root on.</param>
    /// <param name="lastEventId">To resume after; null to begin.</param>
    /// <param name="key">Null for the one that sees every site.</param>
    internal async Task<EventStreamReader> StreamAsync(string path, string? lastEventId = null, string? key = null)
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, Url + path);
        request.Headers.Authorization = new AuthenticationHeaderValue("Bearer", key ?? Key);
        request.Headers.Add("Accept-Encoding", "gzip, br");
        if (lastEventId is not null)
        {
            request.Headers.Add("Last-Event-ID", lastEventId);
        }

        return await EventStreamReader.OpenAsync(client, request);
    }

    public Task<Answer> GetAsync(string path, string? key = null) => SendAsync("GET", path, key ?? Key);

    public async Task<JsonElement> GetJsonAsync(string path, string? key = null)
    {
        var answer = await GetAsync(path, key);
        Assert.True(answer.Status == HttpStatusCode.OK, $"{path}: {answer.Text}");
        Assert.Equal("application/json", answer.MediaType);
        return answer.Json;
    }

    /// <summary>Publishes as a unit does; returns when the broker has acknowledged all of it.</summary>
    internal async Task PublishAsync(string unit, string secret, params (string Kind, string Json)[] messages)
    {
        using var mqtt = new MqttClientFactory().CreateMqttClient();
        var options = new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", mqttPort).WithClientId(unit).WithCredentials(unit, secret).Build();
        await mqtt.ConnectAsync(options, Stop);
        foreach (var (kind, json) in messages)
        {
            await mqtt.PublishStringAsync($"tankwatch/v1/{unit}/{kind}", json, MqttQualityOfServiceLevel.AtLeastOnce, cancellationToken: Stop);
        }

        await mqtt.DisconnectAsync(cancellationToken: Stop);
    }
}

/// <summary>What came back.</summary>
public sealed record Answer(HttpStatusCode Status, string? MediaType, string Text, HttpResponseHeaders Headers)
{
    public JsonElement Json => JsonSerializer.Deserialize<JsonElement>(Text);

    /// <summary>Fails unless it is a problem that says all it should.</summary>
    public Answer IsProblem(HttpStatusCode status)
    {
        Assert.True(Status == status, $"{(int)Status} instead of {(int)status}: {Text}");
        Assert.Equal("application/problem+json", MediaType);
        Assert.Equal((int)status, Json.GetProperty("status").GetInt32());
        Assert.NotEqual("", Json.GetProperty("title").GetString());
        Assert.NotEqual("", Json.GetProperty("detail").GetString());
        return this;
    }

    public override string ToString() => $"{(int)Status} {Text}";
}

/// <summary>A site in a started service, and its one unit.</summary>
public sealed record LiveSite(Served Service, string Id, string Unit, string Secret)
{
    /// <summary>So many minutes ago, as the unit tells it.</summary>
    public static DateTimeOffset Ago(double minutes) => TimeProvider.System.GetUtcNow().AddMinutes(-minutes);

    public Task PublishAsync(params (string Kind, string Json)[] messages) => Service.PublishAsync(Unit, Secret, messages);

    public Task<JsonElement> GetAsync(string rest) => Service.GetJsonAsync($"/api/v1/sites/{Id}/{rest}");

    /// <summary>Lets the mains fail by real messages, and the roof's probes too if wanted.</summary>
    /// <returns>The newest alert's id.</returns>
    public async Task<string> RaiseAsync(bool probesToo = false)
    {
        await PublishAsync(
            ("supply", SampleSite.Supply(Ago(6), false, 1)),
            ("level", SampleSite.Level(Ago(5), "roof", probesToo ? "101" : "100", 2)),
            ("level", SampleSite.Level(Ago(1), "sump", "110", 3)));
        return (await AlertsAsync(probesToo ? 2 : 1))[0].GetProperty("id").GetString()!;
    }

    /// <summary>Newest first, once there are so many.</summary>
    public async Task<IReadOnlyList<JsonElement>> AlertsAsync(int count)
    {
        var page = await Eventually.Comes(
            () => Service.GetJsonAsync($"/api/v1/alerts?site={Id}"), page => page.GetProperty("items").GetArrayLength() == count, $"{count} alerts of {Id}");
        return [.. page.GetProperty("items").EnumerateArray()];
    }
}
