using System.Collections.Concurrent;
using System.Diagnostics;
using System.Text;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Core.FieldMessages;
using TankWatch.Service.Tests.Sites;
using Xunit;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>Bad messages among good ones, through a broker that acknowledges what is durable.</summary>
public sealed class BadMessagesTests(ITestOutputHelper output)
{
    private const int Units = 20;
    private const int GoodOfUnit = 4500;
    private const int BadOfUnit = 500;
    private const int InFlightOfUnit = 10;
    private static readonly TimeSpan MostLater = TimeSpan.FromSeconds(1);
    private static readonly double[] Shares = [0.5, 0.9, 0.99, 0.999, 1];

    [Fact]
    public async Task Ten_thousand_bad_messages_among_a_hundred_thousand_are_kept_with_their_reasons_and_hold_up_none_of_the_good()
    {
        var alone = await RunAsync(badOfUnit: 0);
        var among = await RunAsync(BadOfUnit);
        foreach (var (share, without, with) in Shares.Zip(alone, among))
        {
            output.WriteLine($"of the good ones {share:P1} are acknowledged within {without.TotalMilliseconds:0} ms alone, {with.TotalMilliseconds:0} ms among bad ones");
            Assert.True(with <= without + MostLater);
        }
    }

    /// <returns>Within what time the shares of good messages were acknowledged.</returns>
    private async Task<IReadOnlyList<TimeSpan>> RunAsync(int badOfUnit)
    {
        List<FieldUnit> units = [.. Enumerable.Range(1, Units).Select(number => new FieldUnit(number))];
        using var houses = new ServedHouses(null, units.ConvertAll(unit => unit.SiteJson));
        await houses.ServeAsync();
        var latencies = new ConcurrentBag<TimeSpan>();
        await Task.WhenAll(units.Select(unit => PublishAsync(houses, unit, Mixed(unit, badOfUnit), latencies)));

        Assert.Equal(Units * GoodOfUnit, latencies.Count);
        Assert.Equal(Units * GoodOfUnit, units.Sum(unit => houses.StoredOf(unit.Plan, new(unit.Id))));
        Assert.Equal(Units * badOfUnit, houses.Count("SELECT count(*) FROM refused WHERE reason <> '' AND detail <> ''"));
        foreach (var (reason, count) in houses.List("SELECT reason, count(*) FROM refused GROUP BY reason ORDER BY reason", row => (row.GetString(0), row.GetInt64(1))))
        {
            output.WriteLine($"refused as {reason}: {count}");
        }

        var sorted = latencies.Order().ToList();
        return [.. Shares.Select(share => sorted[(int)Math.Ceiling(share * sorted.Count) - 1])];
    }

    private static async Task PublishAsync(ServedHouses houses, FieldUnit unit, IEnumerable<Sent> messages, ConcurrentBag<TimeSpan> latencies)
    {
        var factory = new MqttClientFactory();
        using var client = factory.CreateMqttClient();
        await client.ConnectAsync(factory.CreateClientOptionsBuilder().WithTcpServer(houses.Host, houses.Port).WithClientId(unit.Id).WithCredentials(unit.Id, houses.Secrets[unit.Id]).Build());
        var waiting = new ConcurrentQueue<Sent>(messages);
        await Task.WhenAll(Enumerable.Range(0, InFlightOfUnit).Select(async _ =>
        {
            while (waiting.TryDequeue(out var message))
            {
                var sent = Stopwatch.GetTimestamp();
                var answer = await client.PublishBinaryAsync($"tankwatch/v1/{unit.Id}/{message.Kind}", message.Payload, MqttQualityOfServiceLevel.AtLeastOnce);
                Assert.True(answer.IsSuccess);
                if (message.IsGood)
                {
                    latencies.Add(Stopwatch.GetElapsedTime(sent));
                }
            }
        }));
        await client.DisconnectAsync();
    }

    private static IEnumerable<Sent> Mixed(FieldUnit unit, int bad)
    {
        var every = bad == 0 ? int.MaxValue : GoodOfUnit / bad;
        for (var (n, given) = (1, 0); n <= GoodOfUnit; n++)
        {
            yield return new("level", Encoding.UTF8.GetBytes(SampleSite.Level(TimeProvider.System.GetUtcNow(), "roof", "110", n)), IsGood: true);
            if (n % every == 0 && given < bad)
            {
                yield return Bad(given++, unit);
            }
        }
    }

    /// <summary>One of the ways to be bad; each is refused once.</summary>
    private static Sent Bad(int n, FieldUnit unit) => (n % 10) switch
    {
        0 => new("level", "{\"tank\":\"roof\",\"wet\":[true,"u8.ToArray()),
        1 => new("level", """{"tank":"loft","wet":[true,true,false]}"""u8.ToArray()),
        2 => new("level", """{"tank":"roof","wet":[true,true]}"""u8.ToArray()),
        3 => new("weather", """{"rain":true}"""u8.ToArray()),
        4 => new("pump", """[{"pump":"p1","state":"humming","cause":"level"}]"""u8.ToArray()),
        5 => new("level", [.. "{\"tank\":\"ro"u8, 0xFF, 0xFE, .. "\",\"wet\":[true,true,false]}"u8]),
        6 => new("supply", "[null]"u8.ToArray()),
        7 => new("status", []),
        8 when n < 10 => new("level", new byte[FieldMessageDecoder.MaxPayloadBytes + 1]),
        8 => new("supply", """{"mains":"yes"}"""u8.ToArray()),
        _ => new("level", Encoding.UTF8.GetBytes($"{new string('[', 2000)}\"{unit.Id}\"")),
    };

    private sealed record Sent(string Kind, byte[] Payload, bool IsGood = false);
}
