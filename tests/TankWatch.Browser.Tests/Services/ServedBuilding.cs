using System.Globalization;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Browser.Tests.Browsing;
using Xunit;

namespace TankWatch.Browser.Tests.Services;

/// <summary><c>serve</c> with one building, a key to sign in with, and a unit that may speak to its embedded broker.</summary>
public sealed class ServedBuilding : IAsyncDisposable
{
    public const string Id = "alder-row";
    private const string Unit = "fu-0017";

    private const string SiteFile = $$"""
        {
          "id": "{{Id}}", "name": "Alder Row", "timeZone": "Europe/Lisbon",
          "tanks": [
            { "id": "sump", "role": "sump", "capacityLitres": 12000, "probes": [
              { "name": "cut-out", "volumeLitres": 1500 }, { "name": "restart", "volumeLitres": 4800 }, { "name": "full", "volumeLitres": 7200 } ] },
            { "id": "roof", "role": "overhead", "capacityLitres": 6000, "probes": [
              { "name": "low", "volumeLitres": 1500 }, { "name": "mid", "volumeLitres": 3900 }, { "name": "high", "volumeLitres": 5800 } ] } ],
          "pumps": [ { "id": "p1", "from": "sump", "to": [ "roof" ] } ],
          "units": [ { "id": "{{Unit}}", "reports": [ "sump", "roof", "p1" ] } ],
          "contacts": [ { "name": "Caretaker", "email": "caretaker@example.org", "role": "caretaker", "language": "en" } ]
        }
        """;

    private readonly string secret;
    private readonly IMqttClient mqtt = new MqttClientFactory().CreateMqttClient();
    private long seq;

    private ServedBuilding(RunningService service, string key, string secret) => (Service, Key, this.secret) = (service, key, secret);

    public RunningService Service { get; }

    public string Key { get; }

    public static async Task<ServedBuilding> StartAsync()
    {
        var service = await RunningService.ServeAsync();
        var key = await service.RunAsync("key", "add", "office", "--role", "operator");
        await service.PutSiteAsync(Id, SiteFile, key); // Through the API: from its answer on, the running service knows the building.
        return new(service, key, await service.RunAsync("unit", "add", Unit, "--site", Id));
    }

    /// <summary>More buildings, of which nothing has been heard.</summary>
    public async Task AddNeighboursAsync(int count)
    {
        for (var number = 1; number <= count; number++)
        {
            var text = number.ToString("00", CultureInfo.InvariantCulture);
            await Service.PutSiteAsync($"n-{text}", SiteFile.Replace(Id, $"n-{text}", StringComparison.Ordinal)
                .Replace(Unit, $"fu-n{text}", StringComparison.Ordinal).Replace("Alder Row", $"Neighbour {text}", StringComparison.Ordinal), Key);
        }
    }

    /// <summary>Lets the mains fail by real messages of the last minutes.</summary>
    /// <returns>The alert's id.</returns>
    public async Task<string> FailPowerAsync()
    {
        await PublishAsync("supply", 6, "\"mains\":false");
        await TellRoofAsync("110", minutesAgo: 5);
        await PublishAsync("level", 1, "\"tank\":\"sump\",\"wet\":[true,true,false]");
        var alerts = await Eventually.Comes(() => Service.AlertsAsync("state=open", Key), alerts => alerts.Count > 0, "the alert of the mains", Patience.CatchUp);
        return alerts[0].GetProperty("id").GetString()!;
    }

    /// <param name="wet">One digit a probe, the lowest first, such as 110.</param>
    /// <param name="minutesAgo">When it was measured.</param>
    public Task TellRoofAsync(string wet, double minutesAgo = 0) =>
        PublishAsync("level", minutesAgo, $"\"tank\":\"roof\",\"wet\":[{string.Join(',', wet.Select(probe => probe == '1' ? "true" : "false"))}]");

    /// <summary>Signs in on the page that a stranger gets.</summary>
    public async Task SignInAsync(Visit visit)
    {
        await visit.Page.GetByLabel("API key").FillAsync(Key);
        await visit.Page.GetByRole(Microsoft.Playwright.AriaRole.Button, new() { Name = "Sign in" }).ClickAsync();
        await visit.Page.GetByRole(Microsoft.Playwright.AriaRole.Button, new() { Name = "Sign out" }).WaitForAsync();
    }

    public ValueTask DisposeAsync()
    {
        mqtt.Dispose();
        return Service.DisposeAsync();
    }

    /// <summary>Publishes as a unit does, on the connection that it keeps; returns when the broker has acknowledged it.</summary>
    private async Task PublishAsync(string kind, double minutesAgo, string members)
    {
        if (!mqtt.IsConnected)
        {
            await mqtt.ConnectAsync(new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", Service.MqttPort).WithClientId(Unit).WithCredentials(Unit, secret).Build());
        }

        var at = TimeProvider.System.GetUtcNow().AddMinutes(-minutesAgo).ToString("yyyy-MM-ddTHH:mm:ss.fffZ", CultureInfo.InvariantCulture);
        var result = await mqtt.PublishStringAsync(
            $"tankwatch/v1/{Unit}/{kind}", $$"""{"at":"{{at}}","boot":1,"seq":{{++seq}},{{members}}}""", MqttQualityOfServiceLevel.AtLeastOnce);
        Assert.True(result.IsSuccess, $"The broker answered {result.ReasonCode} {result.ReasonString}");
    }
}
