using System.Collections.Concurrent;
using MQTTnet;
using MQTTnet.Protocol;
using TankWatch.Core.Sites;
using TankWatch.Service.Ingest;
using TankWatch.Service.Tests.Sites;

namespace TankWatch.Service.Tests.EndToEnd;

/// <summary>
/// A unit of a site of its own, with a ledger: its messages go one after the other, and each is sent again and again until a broker
/// has acknowledged it. So the messages from 1 to <see cref="Acknowledged"/> were promised to be safe.
/// </summary>
internal sealed class FieldUnit(int number)
{
    // The order of magnitude of a busy unit; a pause also lets the processes of a small machine take turns.
    private static readonly TimeSpan Pace = TimeSpan.FromMilliseconds(10);
    private static readonly TimeSpan ConnectAgain = TimeSpan.FromMilliseconds(50);

    private readonly ConcurrentQueue<(string Kind, Func<DateTimeOffset, long, string> Message)> special = new();
    private long acknowledged;
    private long seq;

    public string Id { get; } = $"unit-{number:00}";

    public string Site { get; } = $"house-{number:00}";

    public string SiteJson => SampleSite.Json(
        Site, Id, $"House {number}", $$"""[ { "name": "Caretaker", "email": "caretaker{{number}}@example.org", "role": "caretaker", "language": "en" } ]""");

    public SitePlan Plan => SampleSite.Plan(SiteJson);

    /// <summary>The password at a broker that demands one; the user is the unit.</summary>
    public string? Secret { get; set; }

    public long Acknowledged => Interlocked.Read(ref acknowledged);

    /// <summary>A power failure that has lasted long enough to be one, and that is news still. The second sample says so: rules are asked at a unit's words.</summary>
    public void FailPower()
    {
        special.Enqueue(("supply", (now, n) => SampleSite.Supply(now.AddSeconds(-115), mains: false, n)));
        special.Enqueue(("supply", (now, n) => SampleSite.Supply(now.AddSeconds(-54), mains: false, n)));
    }

    /// <summary>Its end, likewise; 8 s after <see cref="FailPower"/> at the earliest, or the failure would have been too short.</summary>
    public void RestorePower() => special.Enqueue(("supply", (now, n) => SampleSite.Supply(now.AddSeconds(-62), mains: true, n)));

    /// <summary>The pump is stopped for overload twice.</summary>
    public void TripTwice()
    {
        foreach (var running in (bool[])[true, false, true, false])
        {
            special.Enqueue(("pump", (now, n) => SampleSite.Pump(now, running, n, running ? "level" : "overload")));
        }
    }

    /// <summary>Talks until it has talked enough and all of it is acknowledged.</summary>
    public async Task TalkAsync(string host, int port, CancellationToken enough)
    {
        (string Kind, string Json)? waiting = null;
        while (!enough.IsCancellationRequested || waiting is not null)
        {
            try
            {
                var factory = new MqttClientFactory();
                using var client = factory.CreateMqttClient();
                await client.ConnectAsync(
                    factory.CreateClientOptionsBuilder().WithTcpServer(host, port).WithClientId(Id).WithCredentials(Id, Secret ?? "").WithTimeout(TimeSpan.FromSeconds(30)).Build(),
                    CancellationToken.None);
                while (!enough.IsCancellationRequested || waiting is not null)
                {
                    waiting ??= Next();
                    var answer = await client.PublishStringAsync($"tankwatch/v1/{Id}/{waiting.Value.Kind}", waiting.Value.Json, MqttQualityOfServiceLevel.AtLeastOnce, cancellationToken: CancellationToken.None);
                    if (answer.IsSuccess)
                    {
                        waiting = null;
                        Interlocked.Increment(ref acknowledged);
                    }

                    await Task.Delay(Pace, CancellationToken.None);
                }

                await client.DisconnectAsync(cancellationToken: CancellationToken.None);
            }
            catch (Exception fault) when (ConnectionFault.Is(fault))
            {
                await Task.Delay(ConnectAgain, CancellationToken.None); // The broker is away; what waits is sent again.
            }
        }
    }

    private (string Kind, string Json) Next()
    {
        var (now, n) = (TimeProvider.System.GetUtcNow(), ++seq);
        return special.TryDequeue(out var said) ? (said.Kind, said.Message(now, n))
            : n % 2 == 0 ? ("level", SampleSite.Level(now, "roof", "110", n)) : ("level", SampleSite.Level(now, "sump", "111", n));
    }
}
