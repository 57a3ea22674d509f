using System.Globalization;
using System.Text.Json.Nodes;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Browser.Tests.Services;
using TankWatch.Core.Sites;
using TankWatch.Simulator;
using TankWatch.Simulator.Faults;

namespace TankWatch.Browser.Tests.Figures;

/// <summary>
/// A thousand more buildings in a running demonstration, put there as anybody would: site files through the API, messages through the broker.
/// The demonstration's own twelve serve as patterns, each simulated for one day under a seed of its own; one building has a month with a chattering probe.
/// </summary>
internal static class BigEstate
{
    public const int Buildings = 1000;

    /// <summary>The one with a month behind it.</summary>
    public const string Month = "month-of-chatter";

    private const ulong Seed = 4711;
    private const int Connections = 8;
    private const int AtOnce = 64;

    public static async Task<int> SettleInAsync(RunningService demo, DateTimeOffset now)
    {
        var files = Enumerable.Range(0, Buildings - 1)
            .Select(number => (Pattern: Estate.Buildings[number % Estate.Buildings.Length], Tag: number.ToString("000", CultureInfo.InvariantCulture)))
            .Select(building => (building.Pattern, Tag: $"-{building.Tag}", Id: $"{building.Pattern.Id}-{building.Tag}")).ToList();
        foreach (var (pattern, tag, id) in files)
        {
            await demo.PutSiteAsync(id, Renamed(pattern.SiteFile, id, tag));
        }

        var chatterer = Estate.Buildings.Single(building => building.Id == "pippin-lodge");
        await demo.PutSiteAsync(Month, Renamed(chatterer.SiteFile, Month, "-month"));

        var day = Estate.Buildings.ToDictionary(building => building.Id, building => Live(building, now.AddDays(-1), now, []));
        var month = Live(chatterer, now.AddDays(-30), now, [new(FaultKind.ChatteringProbe, "roof", now.AddDays(-20), now.AddDays(-19), 3.5)]);
        List<(string Tag, IReadOnlyList<SimulatedMessage> Messages)> sent = [("-month", month), .. files.Select(building => (building.Tag, day[building.Pattern.Id]))];
        await PublishAsync(demo.MqttPort, sent);
        return sent.Sum(building => building.Messages.Count);
    }

    private static IReadOnlyList<SimulatedMessage> Live(EstateBuilding building, DateTimeOffset from, DateTimeOffset to, IEnumerable<Fault> faults)
    {
        var plan = SiteFile.Parse(System.Text.Encoding.UTF8.GetBytes(building.SiteFile)).Plan!;
        return new SimulatedSite(plan, building.Traits with { Seed = Seed, Start = from }, faults).Advance(to);
    }

    /// <summary>Under names of its own, and without people who would get mail.</summary>
    private static string Renamed(string siteFile, string id, string tag)
    {
        var site = JsonNode.Parse(siteFile)!.AsObject();
        site["id"] = id;
        site["name"] = $"{site["name"]} {tag[1..]}";
        site.Remove("contacts");
        foreach (var unit in site["units"]!.AsArray())
        {
            unit!["id"] = unit["id"]!.GetValue<string>() + tag;
        }

        return site.ToJsonString();
    }

    /// <summary>Many buildings at once over a few connections, each building in its own order.</summary>
    private static async Task PublishAsync(int port, IReadOnlyList<(string Tag, IReadOnlyList<SimulatedMessage> Messages)> sent)
    {
        var clients = new List<IMqttClient>();
        for (var number = 0; number < Connections; number++)
        {
            var client = new MqttClientFactory().CreateMqttClient();
            await client.ConnectAsync(new MqttClientOptionsBuilder().WithTcpServer("127.0.0.1", port).WithClientId($"big-estate-{number}").Build());
            clients.Add(client);
        }

        await Parallel.ForEachAsync(sent.Index(), new ParallelOptions { MaxDegreeOfParallelism = AtOnce }, async (building, stop) =>
        {
            foreach (var message in building.Item.Messages)
            {
                await clients[building.Index % Connections].PublishAsync(
                    new MqttApplicationMessageBuilder().WithTopic($"tankwatch/v1/{message.Unit.Value}{building.Item.Tag}/{message.Kind}")
                        .WithPayload(message.PayloadJson).WithQualityOfServiceLevel(MqttQualityOfServiceLevel.AtLeastOnce).Build(), stop);
            }
        });
        foreach (var client in clients)
        {
            await client.DisconnectAsync();
            client.Dispose();
        }
    }
}
